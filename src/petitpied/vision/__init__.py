"""From a photo to measurements; arrays and frozen dataclasses in, dataclasses out."""
