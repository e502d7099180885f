"""Path-traced sample scenes: photo-like tray pictures with exact truth. Development only.

Needs ``bpy`` (a path tracer as a Python package), OpenCV, numpy and Pillow, in an environment of
their own where bpy asks for an older numpy than the project's OpenCV. Nothing here is imported by
the installed package or by the test command.

Frame ``tray`` in this folder and in the truth files: mm, origin at the top-left corner of the
tray's floor as seen in the photo, x right, y down, z up from the liner's top (left-handed).
"""
