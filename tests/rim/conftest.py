import numpy as np
import pytest
from PIL import Image


@pytest.fixture
def small_photo(tmp_path):
    """A grey JPEG of 0.3 megapixels on disk."""
    path = tmp_path / "tray.jpg"
    Image.fromarray(np.full((480, 640, 3), 128, np.uint8)).save(path)
    return path
