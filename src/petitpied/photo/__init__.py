"""From the bytes of a file to an upright sRGB photo, small copies of it, its sharpness."""
