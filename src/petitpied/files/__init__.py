"""Files: photos read, results written whole or not at all. From here on: the world."""
