"""``python -m tests.benchmarks.worse_photos DIR OUT``: scenes made smaller or unsharp.

``--reduce 0.45`` averages pixels (12 to 2.5 megapixels), ``--blur 2.5`` blurs by a Gaussian of so
many pixels, as an unsteady hand does. Truth goes along: what stands in pixels is scaled.
"""

import argparse
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageFilter

from tests.benchmarks.accuracy import scenes_in

QUALITY = 92  # of JPEG, as the scenes have it


def scaled_px(points: Iterable[Iterable[float]], scale: float) -> list[list[float]]:
    """Places (N, 2), px; (0, 0) is the centre of the first pixel."""
    return [[(c + 0.5) * scale - 0.5 for c in point] for point in points]


def scaled_truth(truth: dict[str, Any], size: tuple[int, int]) -> dict[str, Any]:
    """The same scene in a picture of another size (width, height), px."""
    scale = size[0] / truth["width"]
    k = np.array(truth["K"], float)
    k[:2, :2] *= scale
    k[:2, 2] = scaled_px([k[:2, 2]], scale)[0]
    shells = [
        {**s, "silhouette_px": scaled_px(s["silhouette_px"], scale)}
        if "silhouette_px" in s
        else s
        for s in truth["shells"]
    ]
    return {**truth, "K": k.tolist(), "width": size[0], "height": size[1], "shells": shells}


def worse(picture: Path, out: Path, reduce_to: float, blur_px: float) -> None:
    """Write a picture and its truth anew; EXIF stays."""
    truth = json.loads(picture.with_suffix(".json").read_text(encoding="utf-8"))
    with Image.open(picture) as image:
        exif = image.getexif()
        size = (round(image.width * reduce_to), round(image.height * reduce_to))
        pixels = image.convert("RGB").filter(ImageFilter.GaussianBlur(blur_px))
        small = pixels if reduce_to == 1 else pixels.resize(size, Image.Resampling.BOX)
        small.save(out / picture.name, quality=QUALITY, exif=exif)
    upright = (round(truth["width"] * reduce_to), round(truth["height"] * reduce_to))
    told = json.dumps(scaled_truth(truth, upright))
    (out / picture.name).with_suffix(".json").write_text(told, encoding="utf-8")


def main() -> None:
    """Make all scenes of a folder worse."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("out", type=Path)
    parser.add_argument("--reduce", type=float, default=1.0, help="width, as a share")
    parser.add_argument("--blur", type=float, default=0.0, metavar="PX", help="Gaussian's sigma")
    options = parser.parse_args()
    options.out.mkdir(parents=True, exist_ok=True)
    for picture in scenes_in(options.folder):
        worse(picture, options.out, options.reduce, options.blur)


if __name__ == "__main__":
    main()
