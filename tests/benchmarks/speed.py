"""Time and memory, as ratios to named baselines taken in the same run."""

import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from unittest import mock

import cv2
import numpy as np

from petitpied.cli.measuring.inspecting import Job, inspect_one, inspected
from petitpied.domain.record import Record
from petitpied.domain.settings import Settings
from petitpied.inspection import one_photo as inspection
from petitpied.photo.decode import decode_photo
from petitpied.surface.survey import Survey
from tests.benchmarks.baselines import by_hough_circles, by_watershed

#: a shell's diameter in the timed photo, relative to its width, for the baselines
DIAMETER_REL = 0.085


def _seconds(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


@dataclass(frozen=True)
class Times:
    """Median seconds of each part, and median ratios to the bare decode of the same round."""

    seconds: dict[str, float]
    ratios: dict[str, float]


def paired_times(photo: Path, rounds: int) -> Times:
    """Every part once a round, in turn, so that a busy machine slows all alike."""
    data = photo.read_bytes()
    pixels = decode_photo(data, photo.name).pixels_bgr
    diameter_px = DIAMETER_REL * pixels.shape[1]
    with tempfile.TemporaryDirectory() as folder:
        job = Job(photo, Path(folder), photo.stem)
        parts: dict[str, Callable[[], object]] = {
            "bare JPEG decode (OpenCV)": lambda: cv2.imdecode(
                np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR
            ),
            "decode and inspect": lambda: inspected(decode_photo(data, photo.name), Settings()),
            "the same without surfaces": lambda: _sizes_and_shapes(data, photo.name),
            "decode, inspect, write all four files": lambda: inspect_one(job, Settings()),
            "threshold, distance, watershed, regionprops (scikit-image)": lambda: by_watershed(
                pixels, diameter_px, bright=True
            ),
            "HoughCircles (OpenCV)": lambda: by_hough_circles(pixels, diameter_px),
        }
        for work in parts.values():
            work()  # imports and first-time set-up
        table = np.array([[_seconds(work) for work in parts.values()] for _ in range(rounds)])
    ratio = np.median(table / table[:, :1], axis=0)
    return Times(
        dict(zip(parts, np.median(table, axis=0).tolist(), strict=True)),
        dict(zip(parts, ratio.tolist(), strict=True)),
    )


def _sizes_and_shapes(data: bytes, name: str) -> Record:
    """What an inspection is without cracks, feet, relief and colour."""
    bare = mock.patch.object(
        inspection, "survey", lambda scene, *_heights: Survey(tuple(scene.shells))
    )
    with bare:
        return inspected(decode_photo(data, name), Settings())


def whole_command(photo: Path, rounds: int) -> tuple[float, float]:
    """Median seconds from start to exit, and greatest resident memory, MB, of the command.

    As installed: with its byte code compiled before, whatever this shell's settings are.
    """
    seconds = []
    with tempfile.TemporaryDirectory() as folder:
        installed = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        installed["PYTHONPYCACHEPREFIX"] = str(Path(folder) / "byte_code")
        command = _command([photo], Path(folder))
        megabytes = _greatest_memory(command, installed)
        for _ in range(rounds):
            start = time.perf_counter()
            subprocess.run(command, stdout=subprocess.DEVNULL, env=installed, check=True)
            seconds.append(time.perf_counter() - start)
    return float(np.median(seconds)), megabytes


def _greatest_memory(command: list[str], environment: dict[str, str]) -> float:
    """Of a command, MB; started by a small process, since a child counts what its parent held."""
    small = (
        "import resource, subprocess, sys;"
        "subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True);"
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    told = subprocess.run(
        [sys.executable, "-c", small, *command], capture_output=True, env=environment, check=True
    )
    unit = 1e6 if sys.platform == "darwin" else 1e3  # ru_maxrss: bytes, elsewhere KB
    return int(told.stdout) / unit


def _command(photos: list[Path], out: Path, *options: str) -> list[str]:
    return [
        *(sys.executable, "-m", "petitpied", "inspect"),
        *map(str, photos),
        *("--out", str(out), *options),
    ]


def photos_a_second(photo: Path, count: int, cores: int) -> float:
    """Rate over ``count`` copies of a photo on this many cores, start-up and imports included."""

    def confine() -> None:
        if hasattr(os, "sched_setaffinity"):  # elsewhere OpenCV's threads may use more cores
            os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:cores])

    with tempfile.TemporaryDirectory() as folder:
        copies = [Path(folder) / f"copy_{i:03d}.jpg" for i in range(count)]
        for copy in copies:
            shutil.copyfile(photo, copy)
        command = _command(copies, Path(folder) / "out", "--jobs", str(cores))
        seconds = _seconds(
            lambda: subprocess.run(
                command, check=True, capture_output=True, preexec_fn=confine, timeout=1200
            )
        )
    return count / seconds


def arithmetic_scaling() -> float:
    """What two cores of this machine give over one, now: plain arithmetic in two processes."""
    command = [sys.executable, "-c", "sum(i * i for i in range(12_000_000))"]

    def together(count: int) -> float:
        def work() -> None:
            processes = [subprocess.Popen(command) for _ in range(count)]
            for process in processes:
                process.wait()

        return min(_seconds(work) for _ in range(3))

    return 2 * together(1) / together(2)


def speed_lines(photo: Path, fast: bool) -> Iterator[str]:
    """The table of one photo."""
    times = paired_times(photo, 3 if fast else 9)
    yield f"On {photo.name}, {photo.stat().st_size / 1e6:.1f} MB; {os.cpu_count()} cores."
    yield "The scikit-image and OpenCV baselines work on a reduced, decoded copy and only find.\n"
    yield "| part | median s | times the bare decode |"
    yield "|---|---|---|"
    for name, seconds in times.seconds.items():
        yield f"| {name} | {seconds:.3f} | {times.ratios[name]:.1f} |"
    seconds, megabytes = whole_command(photo, 2 if fast else 5)
    yield f"| whole command, start to exit | {seconds:.2f} | |"
    yield f"| its greatest memory, MB | {megabytes:.0f} | |"
    count = 6 if fast else 24
    one, two = (photos_a_second(photo, count, cores) for cores in (1, 2))
    yield f"| {count} photos on one core, photos a second | {one:.2f} | |"
    yield f"| {count} photos on two cores, photos a second | {two:.2f} | |"
    yield f"| rate on two cores over one | {two / one:.2f} | |"
    yield f"| the same of plain arithmetic on this machine | {arithmetic_scaling():.2f} | |"
