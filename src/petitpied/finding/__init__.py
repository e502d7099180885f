"""Where shells are: the network's maps, seeds, liner, false detections, lattice."""
