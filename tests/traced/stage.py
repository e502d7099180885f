"""Builds a scene for the path tracer and renders it to linear light. The only module with bpy.

The tracer's world is the tray frame with y turned over (right-handed), in units of 100 mm.
"""

from dataclasses import dataclass
from pathlib import Path

import bpy
import cv2
import numpy as np
from mathutils import Matrix
from numpy.typing import NDArray

from tests.traced.camera import Camera
from tests.traced.mesh import Array, Mesh
from tests.traced.scenes import TRAY_MM, Light
from tests.traced.textures import Skin

UNIT_PER_MM = 0.01
FLIP = np.array([1.0, -1.0, 1.0])
MIDDLE_MM = np.array([TRAY_MM[0] / 2, TRAY_MM[1] / 2, 0.0])


@dataclass(frozen=True, slots=True)
class Film:
    """The ideal pinhole picture that is rendered: wide enough for the lens to be applied after."""

    width_px: int
    height_px: int
    focal_px: float

    @property
    def centre_px(self) -> tuple[float, float]:
        return (self.width_px - 1) / 2, (self.height_px - 1) / 2


def film_for(camera: Camera, scale: float) -> Film:
    """Film centred on the principal point, with a border of a few pixels all round."""
    u, v = np.arange(camera.width_px), np.arange(camera.height_px)
    frame = np.concatenate([
        np.stack(np.broadcast_arrays(a, b), -1).reshape(-1, 2).astype(float)
        for a, b in ((u, 0), (u, v[-1]), (0, v), (u[-1], v))])
    reach = np.abs(camera.ideal(frame)).max(0) * camera.focal_px * scale
    width, height = (2 * int(np.ceil(r) + 6) for r in reach)
    return Film(width, height, camera.focal_px * scale)


@dataclass(frozen=True, slots=True)
class Tracer:
    """How the picture is traced: light paths a pixel, and on what."""

    samples: int
    seed: int
    device: str  # cpu or cuda
    threads: int


class Stage:
    """One tracer scene. ``folder`` takes the pictures and the render on their way."""

    def __init__(self, folder: Path, tracer: Tracer) -> None:
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.scene = bpy.context.scene
        set_up_tracer(self.scene, tracer)  # before anything stands: a card added later crashes it
        self.folder = folder
        self.pictures = 0

    def add(self, mesh: Mesh, material: bpy.types.Material) -> None:
        data = bpy.data.meshes.new("m")
        vertices = (mesh.vertices_mm * FLIP * UNIT_PER_MM).astype(np.float32)
        count = len(mesh.quads)
        data.vertices.add(len(vertices))
        data.vertices.foreach_set("co", vertices.ravel())
        data.loops.add(4 * count)
        data.loops.foreach_set("vertex_index", mesh.quads[:, ::-1].ravel().astype(np.int32))
        data.polygons.add(count)
        data.polygons.foreach_set("loop_start", np.arange(0, 4 * count, 4, dtype=np.int32))
        data.polygons.foreach_set("use_smooth", np.full(count, mesh.smooth))
        if mesh.uv is not None:
            layer = data.uv_layers.new(name="UVMap")
            layer.data.foreach_set("uv", mesh.uv[mesh.quads[:, ::-1].ravel()].astype(
                np.float32).ravel())
        if mesh.colour is not None:
            layer = data.attributes.new("Tint", "FLOAT_COLOR", "POINT")
            layer.data.foreach_set("color", mesh.colour.astype(np.float32).ravel())
        data.update(calc_edges=True)
        data.materials.append(material)
        self.scene.collection.objects.link(bpy.data.objects.new("o", data))

    def picture(self, pixels: NDArray, *, is_colour: bool) -> bpy.types.Image:
        path = self.folder / f"skin{self.pictures}.png"
        self.pictures += 1
        cv2.imwrite(str(path), pixels[..., ::-1] if pixels.ndim == 3 else pixels)
        image = bpy.data.images.load(str(path))
        image.colorspace_settings.name = "sRGB" if is_colour else "Non-Color"
        return image

    def render(self, camera: Camera, film: Film) -> NDArray[np.float32]:
        """Linear picture (H, W, 3), red first."""
        self.place_camera(camera, film)
        path = self.folder / "render.exr"
        settings = self.scene.render.image_settings
        settings.file_format = "OPEN_EXR"
        settings.color_depth = "32"
        self.scene.render.filepath = str(path)
        bpy.ops.render.render(write_still=True)
        image = bpy.data.images.load(str(path))
        flat = np.empty(film.width_px * film.height_px * 4, np.float32)
        image.pixels.foreach_get(flat)
        return flat.reshape(film.height_px, film.width_px, 4)[::-1, :, :3].copy()

    def place_camera(self, camera: Camera, film: Film) -> None:
        data = bpy.data.cameras.new("camera")
        data.sensor_fit = "HORIZONTAL"
        data.sensor_width = 36.0
        data.lens = 36.0 * film.focal_px / film.width_px
        data.clip_end = 1000.0
        right, down, forward = camera.world_to_camera[:, :3] * FLIP
        matrix = np.eye(4)
        matrix[:3, :3] = np.stack([right, -down, -forward], 1)
        matrix[:3, 3] = camera.place_mm * FLIP * UNIT_PER_MM
        thing = bpy.data.objects.new("camera", data)
        thing.matrix_world = Matrix(matrix.tolist())
        self.scene.collection.objects.link(thing)
        self.scene.camera = thing
        self.scene.render.resolution_x = film.width_px
        self.scene.render.resolution_y = film.height_px
        self.scene.render.resolution_percentage = 100


def use_cuda() -> None:
    bpy.ops.preferences.addon_enable(module="cycles")
    wanted = bpy.context.preferences.addons["cycles"].preferences
    wanted.compute_device_type = "CUDA"
    wanted.get_devices()
    for device in wanted.devices:
        device.use = device.type == "CUDA"


def set_up_tracer(scene: bpy.types.Scene, tracer: Tracer) -> None:
    if tracer.device == "cuda":
        use_cuda()  # enables the tracer anew: what was read from it before dangles
    scene.render.engine = "CYCLES"
    cycles = scene.cycles
    cycles.device = "GPU" if tracer.device == "cuda" else "CPU"
    cycles.seed = tracer.seed
    cycles.samples = tracer.samples
    cycles.use_adaptive_sampling = False
    cycles.use_auto_tile = False
    cycles.use_light_tree = False  # two or three lamps: quicker without
    cycles.use_denoising = True
    cycles.denoiser = "OPENIMAGEDENOISE"
    cycles.denoising_use_gpu = tracer.device == "cuda"
    cycles.denoising_input_passes = "RGB_ALBEDO_NORMAL"
    cycles.denoising_prefilter = "FAST"
    cycles.denoising_quality = "BALANCED"
    cycles.max_bounces = 4
    cycles.diffuse_bounces = 2
    cycles.glossy_bounces = 2
    cycles.caustics_reflective = False
    cycles.sample_clamp_indirect = 4.0
    cycles.filter_width = 1.2
    scene.render.threads_mode = "FIXED"
    scene.render.threads = tracer.threads
    scene.render.use_persistent_data = False


def new_material() -> tuple[bpy.types.Material, bpy.types.Node, bpy.types.NodeTree]:
    material = bpy.data.materials.new("material")
    material.use_nodes = True
    return material, material.node_tree.nodes["Principled BSDF"], material.node_tree


def shell_material(*, gloss: float) -> bpy.types.Material:
    """Baked meringue: matt with a faint sheen, fine grain; tint from the vertices."""
    material, surface, tree = new_material()
    tint = tree.nodes.new("ShaderNodeAttribute")
    tint.attribute_name = "Tint"
    grain = tree.nodes.new("ShaderNodeTexNoise")
    grain.inputs["Scale"].default_value = 1 / (1.1 * UNIT_PER_MM)
    grain.inputs["Detail"].default_value = 2.0
    place = tree.nodes.new("ShaderNodeTexCoord")
    bump = tree.nodes.new("ShaderNodeBump")
    bump.inputs["Strength"].default_value = 1.0
    bump.inputs["Distance"].default_value = 0.07 * UNIT_PER_MM
    mottle = tree.nodes.new("ShaderNodeMix")
    mottle.data_type = "RGBA"
    mottle.blend_type = "MULTIPLY"
    mottle.inputs["Factor"].default_value = 0.22
    tree.links.new(place.outputs["Object"], grain.inputs["Vector"])
    tree.links.new(grain.outputs["Factor" if "Factor" in grain.outputs else "Fac"],
                   bump.inputs["Height"])
    tree.links.new(tint.outputs["Color"], mottle.inputs[6])
    tree.links.new(grain.outputs["Factor" if "Factor" in grain.outputs else "Fac"],
                   mottle.inputs[7])
    tree.links.new(mottle.outputs[2], surface.inputs["Base Color"])
    tree.links.new(bump.outputs["Normal"], surface.inputs["Normal"])
    surface.inputs["Roughness"].default_value = 0.62 - 0.24 * gloss
    surface.inputs["Specular IOR Level"].default_value = 0.30 + 0.35 * gloss
    return material


def skin_material(stage: Stage, skin: Skin) -> bpy.types.Material:
    material, surface, tree = new_material()
    colour = tree.nodes.new("ShaderNodeTexImage")
    colour.image = stage.picture(skin.colour, is_colour=True)
    tree.links.new(colour.outputs["Color"], surface.inputs["Base Color"])
    surface.inputs["Roughness"].default_value = skin.roughness
    surface.inputs["Metallic"].default_value = skin.metallic
    surface.inputs["Specular IOR Level"].default_value = 0.35
    if skin.solid is not None:
        solid = tree.nodes.new("ShaderNodeTexImage")
        solid.image = stage.picture(skin.solid, is_colour=False)
        tree.links.new(solid.outputs["Color"], surface.inputs["Alpha"])
    if skin.relief is not None:
        relief = tree.nodes.new("ShaderNodeTexImage")
        relief.image = stage.picture(skin.relief, is_colour=False)
        bump = tree.nodes.new("ShaderNodeBump")
        bump.inputs["Distance"].default_value = skin.swing_mm * UNIT_PER_MM
        tree.links.new(relief.outputs["Color"], bump.inputs["Height"])
        tree.links.new(bump.outputs["Normal"], surface.inputs["Normal"])
    return material


def plain_material(linear: Array, roughness: float, metallic: float = 0.0) -> bpy.types.Material:
    material, surface, _ = new_material()
    surface.inputs["Base Color"].default_value = (*np.asarray(linear, float).tolist(), 1.0)
    surface.inputs["Roughness"].default_value = roughness
    surface.inputs["Metallic"].default_value = metallic
    return material


def add_lamp(stage: Stage, kind: str, away_mm: Array, level: float, warmth: tuple[float, ...],
             size_mm: tuple[float, float]) -> None:
    """A lamp at ``away_mm`` from the tray's middle that lights a level floor there with about
    ``level`` times pi units of irradiance (a white floor then shines with ``level``)."""
    data = bpy.data.lights.new("lamp", "SUN" if kind == "sun" else "AREA")
    data.color = warmth
    distance = float(np.linalg.norm(away_mm))
    slope = away_mm[2] / distance
    if kind == "sun":
        data.angle = np.radians(0.9)
        data.energy = np.pi * level / slope
    else:
        data.shape = "DISK" if kind == "disc" else "RECTANGLE"
        data.size = size_mm[0] * UNIT_PER_MM
        if kind != "disc":
            data.size_y = size_mm[1] * UNIT_PER_MM
        data.energy = np.pi**2 * level * (distance * UNIT_PER_MM) ** 2 / slope
    back = away_mm * FLIP / distance
    side = np.cross([0, 0, 1.0], back)
    side = side / np.linalg.norm(side) if np.linalg.norm(side) > 1e-6 else np.array([1.0, 0, 0])
    matrix = np.eye(4)
    matrix[:3, :3] = np.stack([side, np.cross(back, side), back], 1)
    matrix[:3, 3] = (MIDDLE_MM + away_mm) * FLIP * UNIT_PER_MM
    lamp = bpy.data.objects.new("lamp", data)
    lamp.matrix_world = Matrix(matrix.tolist())
    stage.scene.collection.objects.link(lamp)


def add_light(stage: Stage, light: Light) -> None:
    """Lamps of a style and the dim room round them."""
    a = np.radians(light.azimuth_deg)
    toward = np.array([np.cos(a), np.sin(a), 0.0])
    room = {"window": (0.34, (0.95, 0.97, 1.0)), "ceiling": (0.22, (1.0, 0.95, 0.87)),
            "sun": (0.30, (0.86, 0.93, 1.0)), "mixed": (0.26, (1.0, 0.96, 0.9)),
            "flash": (0.14, (1.0, 0.9, 0.78)), "bulb": (0.16, (1.0, 0.84, 0.62))}[light.style]
    if light.style in ("window", "mixed"):
        level = 0.62 if light.style == "window" else 0.36
        add_lamp(stage, "pane", 1150 * toward + [0, 0, 820], level, (0.95, 0.98, 1.0), (900, 1000))
    if light.style in ("ceiling", "mixed"):
        level = 0.30 if light.style == "ceiling" else 0.34
        for turn in (-0.5, 0.9) if light.style == "ceiling" else (2.6,):
            place = 520 * np.array([np.cos(a + turn), np.sin(a + turn), 0.0]) + [0, 0, 1350]
            add_lamp(stage, "disc", place, level, (1.0, 0.92, 0.80), (190, 190))
    if light.style == "sun":
        add_lamp(stage, "sun", 1000 * toward + [0, 0, 760], 0.85, (1.0, 0.95, 0.86), (1, 1))
    if light.style == "flash":  # beside the lens
        add_lamp(stage, "disc", np.array([18.0, -12.0, 640.0]), 0.75, (1.0, 0.99, 0.97), (8, 8))
    if light.style == "bulb":  # over a table's end: light falls off threefold over the tray
        add_lamp(stage, "disc", 420 * toward + [0, 0, 520], 0.6, (1.0, 0.76, 0.48), (60, 60))
    world = bpy.data.worlds.new("room")
    world.use_nodes = True
    stage.scene.world = world
    tree = world.node_tree
    background = tree.nodes["Background"]
    place, noise = tree.nodes.new("ShaderNodeTexCoord"), tree.nodes.new("ShaderNodeTexNoise")
    noise.inputs["Scale"].default_value = 1.7
    ramp = tree.nodes.new("ShaderNodeValToRGB")
    colour = np.array(room[1])
    ramp.color_ramp.elements[0].color = (*(0.35 * colour).tolist(), 1)
    ramp.color_ramp.elements[0].position = 0.38
    ramp.color_ramp.elements[1].color = (*(1.5 * colour).tolist(), 1)
    ramp.color_ramp.elements[1].position = 0.62
    tree.links.new(place.outputs["Generated"], noise.inputs["Vector"])
    tree.links.new(noise.outputs["Factor" if "Factor" in noise.outputs else "Fac"],
                   ramp.inputs["Fac"])
    tree.links.new(ramp.outputs["Color"], background.inputs["Color"])
    background.inputs["Strength"].default_value = room[0]
