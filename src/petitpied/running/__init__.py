"""A running command: how it is stopped, photos in processes of their own, secrets masked."""
