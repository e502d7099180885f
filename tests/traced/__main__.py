"""python -m tests.traced OUT_DIR --scene NAME|samples|all --samples N --scale 0.7"""

import argparse
import json
import tempfile
import time
from dataclasses import asdict
from pathlib import Path
from typing import Any

import numpy as np

from tests.traced import props, textures, toppings, truth
from tests.traced.camera import Camera, camera_from
from tests.traced.judging import JUDGING
from tests.traced.lay import PlacedCard, lay_tray
from tests.traced.liners import laid_liner
from tests.traced.mesh import srgb_to_linear
from tests.traced.phone import Picture, drawn_effects, photograph, save_jpeg
from tests.traced.scenes import (
    FINAL,
    HELD_OUT,
    SAMPLES,
    THIRD,
    TRAY_MM,
    Holes,
    Scene,
)
from tests.traced.shells import Shell, cap_mesh, foot_mesh
from tests.traced.stage import (
    Stage,
    Tracer,
    add_light,
    film_for,
    plain_material,
    shell_material,
    skin_material,
)
from tests.traced.varied import (
    ALIKE_TRAINING,
    FAULTY_TRAINING,
    NULL_BAKES,
    SPOT_BAKES,
    TWO_LIGHTS,
    UNLIKE,
    VARIED_FIGURES,
    VARIED_FRESH,
    VARIED_HELD_OUT,
    VARIED_LAST,
    VARIED_LATER,
    VARIED_TRAINING,
    VARIED_TUNING,
)
from tests.traced.widened import WIDENED

GROUPS = {**JUDGING, **WIDENED, "samples": SAMPLES, "held_out": HELD_OUT, "final": FINAL,
          "third": THIRD,
          "varied_held_out": VARIED_HELD_OUT, "varied_tuning": VARIED_TUNING,
          "varied_figures": VARIED_FIGURES, "varied_training": VARIED_TRAINING,
          "varied_fresh": VARIED_FRESH, "varied_last": VARIED_LAST,
          "faulty_training": FAULTY_TRAINING, "varied_later": VARIED_LATER,
          "two_lights": TWO_LIGHTS, "alike_training": ALIKE_TRAINING,
          "null_bakes": NULL_BAKES, "unlike": UNLIKE, "spot_bakes": SPOT_BAKES}
TABLE_SIZE_MM = (1300.0, 1000.0)
RACK_FLOOR_Z_MM = -14.0  # of a pan in which a rack stands
STEEL_LINEAR = (0.56, 0.56, 0.57)


def table_skin(rng: np.random.Generator, table: str) -> textures.Skin:
    if table == "stone":
        return textures.stone(rng, TABLE_SIZE_MM)
    if table == "cloth":
        return textures.cloth(rng, TABLE_SIZE_MM, (206, 208, 204), (84, 108, 132))
    base = (186, 140, 92) if table == "wood" else (112, 72, 46)
    return textures.wood(rng, TABLE_SIZE_MM, base)


def add_liner(stage: Stage, rng: np.random.Generator, scene: Scene) -> list[dict[str, Any]]:
    """The liner on the pan's floor; returns the rings printed on it, in the tray frame."""
    if scene.liner == "bare_steel":
        return []
    if scene.liner == "wire_rack":
        wires = scene.holes or Holes(2.2, 10.0)
        chrome = plain_material(np.array(STEEL_LINEAR), 0.22, 1.0)
        for wire in props.wire_rack(wires.across_mm, wires.pitch_mm):
            stage.add(wire, chrome)
        return []
    skin, inset, curls, rings = laid_liner(rng, scene)
    stage.add(props.liner_sheet(rng, inset, curls=curls), skin_material(stage, skin))
    return rings


def add_crumbs(stage: Stage, rng: np.random.Generator, scene: Scene, shells: list[Shell],
               cards: tuple[PlacedCard, ...]) -> dict[str, Any]:
    colour = srgb_to_linear(scene.shell_srgb) * 0.8
    material = plain_material(colour, 0.8)
    centres: list[list[float]] = []
    radii: list[float] = []
    while len(centres) < 22:
        place, radius = rng.uniform((8, 8), np.subtract(TRAY_MM, 8)), rng.uniform(0.5, 1.7)
        near_shell = any(np.hypot(*(place - s.centre_mm)) < s.radius_mm + 5 for s in shells)
        boxes = [c.corners_mm() for c in cards]
        if near_shell or any((place > b.min(0) - 4).all() and (place < b.max(0) + 4).all()
                             for b in boxes):
            continue
        stage.add(props.crumb(rng, place, radius), material)
        centres.append(truth.rounded(place, 2))
        radii.append(round(float(radius), 2))
    return {"kind": "crumbs", "centres_mm": centres, "radius_mm": radii}


def add_decoys(stage: Stage, rng: np.random.Generator, scene: Scene, laid: tuple[Any, ...]
               ) -> list[dict[str, Any]]:
    shells, cards, free = laid
    out: list[dict[str, Any]] = []
    steel = plain_material(np.array(STEEL_LINEAR), 0.2, 1.0)
    for kind in scene.decoys:
        if kind == "crumbs":
            out.append(add_crumbs(stage, rng, scene, shells, cards))
        elif kind == "tip":
            stage.add(props.piping_tip(free[0][:2], float(rng.uniform(0, 360))), steel)
            out.append({"kind": "tip", "centre_mm": list(free[0][:2]), "length_mm": 34})
        elif kind == "spoon":
            place = (150.0, TRAY_MM[1] + 10.0, props.RIM_Z_MM - 0.6)
            stage.add(props.spoon(place, 5.0), steel)
            out.append({"kind": "spoon", "centre_mm": list(place[:2]), "length_mm": 140})
        else:
            place = (TRAY_MM[0] + 22.0, TRAY_MM[1] * 0.72)
            skin = textures.cloth(rng, (260.0, 260.0), (228, 222, 208), (158, 52, 48))
            stage.add(props.towel(rng, place, 8.0, 8.0), skin_material(stage, skin))
            out.append({"kind": "towel", "centre_mm": list(place), "length_mm": 260})
    return out


def build(scene: Scene, stage: Stage, camera: Camera) -> dict[str, Any]:
    """Puts everything on the stage; returns the truth of what lies there."""
    rng = np.random.default_rng(scene.seed + 500)
    shells, cards, free = lay_tray(scene)
    steel = textures.steel(rng, TRAY_MM)
    floor = floor_z_mm(scene.liner)
    stage.add(props.pan_walls(min(floor, props.FLOOR_Z_MM)),
              plain_material(np.array(STEEL_LINEAR), 0.33, 1.0))
    stage.add(props.pan_floor(floor), skin_material(stage, steel))
    table_z = props.TABLE_Z_MM + min(floor - props.FLOOR_Z_MM, 0.0)
    stage.add(props.table_sheet(TABLE_SIZE_MM, table_z),
              skin_material(stage, table_skin(rng, scene.table)))
    rings = add_liner(stage, rng, scene)
    edges = np.array([(0, 0), (85.60, 0), (85.60, 53.98), (0, 53.98)])
    card_truths = []
    for card in cards:
        skin = textures.Skin(textures.card_picture(card.letter), None, 0.0, 0.5)
        stage.add(props.card_plate(card), skin_material(stage, skin))
        card_truths.append(truth.card_truth(card.letter, card.origin_mm, card.rot_deg,
                                            props.CARD_THICKNESS_MM, edges))
    usual = 0.7 if scene.light.style == "ceiling" else 0.25
    baked = shell_material(gloss=usual if scene.gloss is None else scene.gloss)
    told = []
    for shell in shells:
        cap, foot = cap_mesh(shell), foot_mesh(shell)
        stage.add(cap, baked)
        if shell.has_foot:
            stage.add(foot, baked)
        if shell.toppings:
            stage.add(toppings.topping_mesh(shell, cap), shell_material(gloss=0.9))
        told.append(truth.shell_truth(shell, cap, foot, camera))
    decoys = add_decoys(stage, rng, scene, (shells, cards, free))
    add_light(stage, scene.light)
    return {"printed_rings": rings, "cards": card_truths, "shells": told, "decoys": decoys}


def floor_z_mm(liner: str) -> float:
    """Height of the pan's floor: without a liner the shells lie on it, at z = 0."""
    return {"bare_steel": 0.0, "wire_rack": RACK_FLOOR_Z_MM}.get(liner, props.FLOOR_Z_MM)


def tray_truth(liner: str) -> dict[str, Any]:
    def corners(offset: float, z: float) -> list[list[float]]:
        w, h = TRAY_MM
        return [[-offset, -offset, z], [w + offset, -offset, z], [w + offset, h + offset, z],
                [-offset, h + offset, z]]

    return {"interior_mm": list(TRAY_MM), "corners_mm": corners(0.0, 0.0),
            "rim_outer_corners_mm": corners(props.RIM_OFFSET_MM, props.RIM_Z_MM),
            "rim_z_mm": props.RIM_Z_MM, "corner_radius_mm": props.CORNER_RADIUS_MM,
            "floor_z_mm": floor_z_mm(liner)}


def spatial_effect(scene: Scene) -> dict[str, Any]:
    """What the oven was told to do to the shells by their place, in the tray frame."""
    if scene.spot is not None:
        return {"kind": "spot", **asdict(scene.spot)}
    if scene.browning_slope:
        return {"kind": "gradient", "dir_deg": 0, "browning": scene.browning_slope, "diam": 0.0}
    return {"kind": "none"}


def linear_light(stage: Stage, camera: Camera, args: argparse.Namespace, scene: Scene) -> Picture:
    """The render, or the one kept by an earlier run with ``--keep``."""
    kept = args.keep / f"{scene.name}.npy" if args.keep else None
    if kept and kept.exists():
        return np.load(kept).astype(np.float32)
    linear = stage.render(camera, film_for(camera, args.scale))
    if kept:
        np.save(kept, linear.astype(np.float16))
    return linear


def make(scene: Scene, args: argparse.Namespace) -> None:
    begun = time.monotonic()
    rng = np.random.default_rng(scene.seed + 900 + 1_000_003 * scene.shot)
    camera = camera_from(scene.stand, rng)
    effects = drawn_effects(rng, scene.orientation)
    with tempfile.TemporaryDirectory() as folder:
        stage = Stage(Path(folder), Tracer(args.samples, scene.seed, args.device, args.threads))
        placed = build(scene, stage, camera)
        linear = linear_light(stage, camera, args, scene)
    picture, gain = photograph(linear, film_for(camera, args.scale).focal_px, camera, effects, rng)
    save_jpeg(args.out / f"{scene.name}.jpg", picture, camera, effects)
    record = {
        "image": f"{scene.name}.jpg", "width": camera.width_px, "height": camera.height_px,
        "seed": scene.seed, "units": "mm",
        "pixel_convention": "(0,0) is the centre of the first pixel of the displayed "
                            "(EXIF-oriented) image",
        **truth.camera_truth(camera), "roll_deg": scene.stand.roll_deg,
        "light": asdict(scene.light), "liner": scene.liner,
        "holes": asdict(scene.holes) if scene.holes else None, "tray": tray_truth(scene.liner),
        "spatial_effect": spatial_effect(scene), "sequence": {"turn_deg": scene.turn_deg},
        "flavour": scene.flavour, "gloss": scene.gloss,
        "nominal_diameter_mm": scene.diameter_mm,
        **placed,
        "camera_effects": {**asdict(effects), "render_scale": args.scale, "exposure_gain": gain},
    }
    text = json.dumps(record, separators=(",", ":"))
    (args.out / f"{scene.name}.json").write_text(text, encoding="utf-8")
    print(f"{scene.name}: {len(placed['shells'])} shells, {time.monotonic() - begun:.0f} s",
          flush=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument(
        "--scene", default="samples", nargs="+", help=f"names, or of: {', '.join(GROUPS)}"
    )
    parser.add_argument("--samples", type=int, default=24, help="light paths a pixel")
    parser.add_argument("--scale", type=float, default=0.7, help="render size over photo size")
    parser.add_argument("--device", choices=("cpu", "cuda"), default="cpu")
    parser.add_argument("--threads", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="folder to keep renders in and reuse them from")
    args = parser.parse_args()
    args.out.mkdir(parents=True, exist_ok=True)
    if args.keep:
        args.keep.mkdir(parents=True, exist_ok=True)
    asked = args.scene if isinstance(args.scene, list) else [args.scene]
    known = {s.name: s for group in GROUPS.values() for s in group}
    for name in asked:
        for scene in GROUPS[name] if name in GROUPS else (known[name],):
            make(scene, args)


if __name__ == "__main__":
    main()
