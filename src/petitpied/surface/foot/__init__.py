"""The foot round a shell: where it shows, how even, or not there."""
