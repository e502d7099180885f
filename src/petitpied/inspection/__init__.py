"""The order of the steps, from a photo to a record, and nothing else."""
