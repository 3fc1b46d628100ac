"""Draws a scene with OpenGL, without a screen (EGL; Mesa's software driver is enough)."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

import moderngl
import numpy as np

from training.makers import shaders
from training.makers.light import HEIGHT, LEVELS, WIDTH, Light
from training.makers.material import RELIEFS, Clear, Material
from training.makers.mesh import Mesh
from training.makers.reliefs import relief_tile

_SHADOW_PX, _HEIGHT_PX = 512, 192
_UNITS = {
    name: unit
    for unit, name in enumerate(
        (
            "around",
            "shadow_map",
            "clear_shadow_map",
            "height_map",
            "floor_map",
            "relief_map",
            "picture",
            "behind",
        )
    )
}
_SRGB8_ALPHA8 = 0x8C43  # OpenGL's name of the format; the library has none
_NEAR, _FAR = 0.02, 30.0


@dataclass(frozen=True, slots=True)
class Camera:
    """Pinhole camera: place and target in metres, field of view and roll in degrees."""

    eye: np.ndarray
    target: np.ndarray
    view: float
    roll: float = 0.0

    def axes(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Unit vectors to the right, up and back."""
        back = self.eye - self.target
        back = back / np.linalg.norm(back)
        right = np.cross([0.0, 0.0, 1.0], back)
        right /= np.linalg.norm(right)
        up = np.cross(back, right)
        turn = np.radians(self.roll)
        return (
            np.cos(turn) * right + np.sin(turn) * up,
            np.cos(turn) * up - np.sin(turn) * right,
            back,
        )

    def matrix(self) -> np.ndarray:
        """World to clip coordinates, (4, 4), for a square picture."""
        right, up, back = self.axes()
        world = np.eye(4)
        world[:3, :3] = [right, up, back]
        world[:3, 3] = -world[:3, :3] @ self.eye
        f = 1 / np.tan(np.radians(self.view) / 2)
        lens = np.diag([f, f, -(_FAR + _NEAR) / (_FAR - _NEAR), 0.0])
        lens[2, 3], lens[3, 2] = -2 * _FAR * _NEAR / (_FAR - _NEAR), -1.0
        return lens @ world


@dataclass(frozen=True, slots=True)
class Placed:
    """A mesh where it lies in the scene; `number` 0 belongs to no item."""

    mesh: Mesh
    material: Material
    number: int = 0
    floor: bool = False


@dataclass(frozen=True, slots=True)
class Scene:
    """Everything that is drawn. `floor_texture` uint8 (n, n, 3) repeats every `floor_tile` m."""

    placed: list[Placed]
    light: Light
    camera: Camera
    floor_texture: np.ndarray
    floor_tile: float


def linear(colour: np.ndarray | tuple[float, ...]) -> np.ndarray:
    """SRGB values, 0 to 1, as linear light (IEC 61966-2-1)."""
    c = np.clip(np.asarray(colour, np.float32), 0, 1)
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


class _Buffers:
    """A mesh on the graphics side, drawn by several programs."""

    def __init__(self, context: moderngl.Context, placed: Placed) -> None:
        mesh = placed.mesh
        data = np.concatenate([mesh.v, mesh.normals(), mesh.uv], axis=1).astype("f4")
        self._context, self.placed = context, placed
        self._data = context.buffer(data.tobytes())
        self._index = context.buffer(mesh.f.astype("i4").tobytes())
        self._arrays: list[moderngl.VertexArray] = []
        texture = placed.material.texture
        self.picture = None if texture is None else upload(context, texture)
        self.is_cut = texture is not None and texture.shape[2] == 4

    def draw(self, program: moderngl.Program) -> None:
        """Draw with a program whose uniforms are set."""
        names = [n for n in ("in_place", "in_normal", "in_uv") if n in program]
        layout = {"in_place": "3f", "in_normal": "3f", "in_uv": "2f"}
        text = " ".join(layout[n] if n in names else layout[n].replace("f", "x4") for n in layout)
        array = self._context.vertex_array(program, [(self._data, text, *names)], self._index)
        self._arrays.append(array)
        array.render()

    def release(self) -> None:
        """Free what the driver holds."""
        for each in (*self._arrays, self._data, self._index, self.picture):
            if each is not None:
                each.release()


def upload(context: moderngl.Context, pixels: np.ndarray) -> moderngl.Texture:
    """Copy an sRGB picture, uint8, to a texture with smaller copies of itself."""
    height, width, bands = pixels.shape
    full = np.full((height, width, 4), 255, np.uint8)
    full[..., :bands] = pixels[::-1]
    made = context.texture((width, height), 4, full.tobytes(), internal_format=_SRGB8_ALPHA8)
    made.build_mipmaps()
    made.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
    return made


class Canvas:
    """Square drawing surface of `size` px; draws `Scene`s one after the other."""

    def __init__(self, size: int, *, finer: float = 1.25) -> None:
        self.size = size
        self.fine = round(size * finer)
        self._context = moderngl.create_context(standalone=True, backend="egl")  # type: ignore[arg-type]
        make = self._context.program
        self._solid = make(vertex_shader=shaders.VERTEX, fragment_shader=shaders.SOLID)
        self._clear = make(vertex_shader=shaders.VERTEX, fragment_shader=shaders.CLEAR)
        self._flat = make(vertex_shader=shaders.VERTEX, fragment_shader=shaders.FLAT)
        for program in (self._solid, self._clear, self._flat):
            for name, unit in _UNITS.items():
                if name in program:
                    program[name].value = unit
        self._picture = self._target(self.fine, "f2", 4)
        self._copy = self._context.texture((self.fine,) * 2, 4, dtype="f2")
        self._copy_target = self._context.framebuffer([self._copy])
        self._numbers = self._target(size, "f4", 2)
        self._heights = self._target(_HEIGHT_PX, "f4", 2)
        self._shadows = [self._depth(_SHADOW_PX) for _ in range(2)]
        self._around = self._context.texture_array((WIDTH, HEIGHT, LEVELS), 3, dtype="f4")
        self._around.repeat_y = False
        self._reliefs = {name: self._relief(name) for name in RELIEFS}

    def draw(self, scene: Scene) -> tuple[np.ndarray, np.ndarray]:
        """Draw a scene.

        Returns
        -------
        tuple[np.ndarray, np.ndarray]
            Linear light, float32 (fine, fine, 3), and the number of the item at each pixel, uint16
            (size, size), 0 where there is none.
        """
        context = self._context
        buffers = [_Buffers(context, placed) for placed in scene.placed]
        floor = upload(context, scene.floor_texture)
        try:
            self._lamp_pass(scene, buffers)
            self._height_pass(buffers)
            numbers = self._number_pass(scene, buffers)
            self._bind(scene, floor)
            self._colour_pass(scene, buffers)
            raw = np.frombuffer(self._picture.read(components=4, dtype="f2"), np.float16)
        finally:
            floor.release()
            for each in buffers:
                each.release()
        pixels = raw.reshape(self.fine, self.fine, 4)[::-1, :, :3].astype(np.float32)
        return np.nan_to_num(np.clip(pixels, 0, 200)), numbers

    def _target(self, size: int, dtype: str, bands: int) -> moderngl.Framebuffer:
        texture = self._context.texture((size, size), bands, dtype=dtype)
        texture.repeat_x = texture.repeat_y = False
        return self._context.framebuffer([texture], self._context.depth_renderbuffer((size, size)))

    def _depth(self, size: int) -> moderngl.Framebuffer:
        texture = self._context.depth_texture((size, size))
        texture.compare_func = ""
        texture.repeat_x = texture.repeat_y = False
        return self._context.framebuffer(depth_attachment=texture)

    def _relief(self, name: str) -> moderngl.Texture:
        tile = relief_tile(name)
        made = self._context.texture((tile.shape[1], tile.shape[0]), 3, tile.tobytes(), alignment=1)
        made.build_mipmaps()
        made.filter = (moderngl.LINEAR_MIPMAP_LINEAR, moderngl.LINEAR)
        return made

    def _lamp_pass(self, scene: Scene, buffers: Iterable[_Buffers]) -> None:
        items = [b for b in buffers if not b.placed.floor]
        low, high = _extent(items)
        centre, radius = (low + high) / 2, float(np.linalg.norm(high - low)) / 2 + 0.05
        eye = Camera(centre + scene.light.towards, centre, 40)
        right, up, back = eye.axes()
        matrix = np.eye(4)
        matrix[:3, :3] = np.stack([right, up, -back]) / radius
        matrix[:3, 3] = -matrix[:3, :3] @ centre
        matrix[2] *= 0.5
        for target, clear in zip(self._shadows, (False, True), strict=True):
            self._flat_pass(target, matrix, [b for b in items if _is_clear(b) == clear])
        for program in (self._solid, self._clear):
            _set(program, lamp=matrix.T.ravel(), lamp_texel=0.5 / radius, lamp_depth=4 * radius)
            _set(program, has_clear=float(any(_is_clear(b) for b in items)))
            shades = [c.shade for b in items if (c := b.placed.material.clear)]
            _set(program, clear_shade=float(np.mean(shades)) if shades else 0.0)

    def _height_pass(self, buffers: Iterable[_Buffers]) -> None:
        items = [b for b in buffers if not b.placed.floor and not _is_clear(b)]
        low, high = _extent(items)
        low, high = low - 0.12, high + 0.12
        matrix = np.diag([2 / (high[0] - low[0]), 2 / (high[1] - low[1]), -0.2, 1.0])
        matrix[:2, 3] = -(low + high)[:2] / (high - low)[:2]
        self._flat_pass(self._heights, matrix, items)
        area = (low[0], low[1], high[0] - low[0], high[1] - low[1])
        for program in (self._solid, self._clear):
            _set(program, height_area=area)

    def _number_pass(self, scene: Scene, buffers: Iterable[_Buffers]) -> np.ndarray:
        self._flat_pass(self._numbers, scene.camera.matrix(), list(buffers))
        raw = np.frombuffer(self._numbers.read(components=2, dtype="f4"), np.float32)
        shown = raw.reshape(self.size, self.size, 2)[::-1, :, 0]
        return np.rint(shown).astype(np.uint16)

    def _flat_pass(
        self, target: moderngl.Framebuffer, matrix: np.ndarray, buffers: Iterable[_Buffers]
    ) -> None:
        self._context.enable_only(moderngl.DEPTH_TEST)
        target.use()
        target.clear(0, 0, 0, 0)
        _set(self._flat, view_projection=matrix.T.ravel())
        for each in buffers:
            cut = each.is_cut and not _is_clear(each)
            if cut:
                each.picture.use(_UNITS["picture"])
            _set(self._flat, has_picture=float(cut))
            _set(self._flat, number=float(each.placed.number))
            each.draw(self._flat)

    def _bind(self, scene: Scene, floor: moderngl.Texture) -> None:
        light, camera = scene.light, scene.camera
        self._around.write(np.ascontiguousarray(light.maps, "f4").tobytes())
        self._around.use(_UNITS["around"])
        for name, target in zip(("shadow_map", "clear_shadow_map"), self._shadows, strict=True):
            target.depth_attachment.use(_UNITS[name])
        self._heights.color_attachments[0].use(_UNITS["height_map"])
        self._heights.color_attachments[0].swizzle = "GGGG"
        floor.use(_UNITS["floor_map"])
        right, up, _ = camera.axes()
        level = light.maps[0, -1].mean(0) / np.maximum(linear_mean(scene.floor_texture), 0.01)
        for program in (self._solid, self._clear):
            _set(
                program,
                view_projection=camera.matrix().T.ravel(),
                eye=camera.eye,
                towards=light.towards,
                strength=light.strength,
                softness=light.softness,
                floor_light=level,
                floor_scale=1 / scene.floor_tile,
                right=right,
                up=up,
                screen=(self.fine, self.fine),
            )
            program["harmonics"].write(light.harmonics.astype("f4").tobytes())

    def _colour_pass(self, scene: Scene, buffers: list[_Buffers]) -> None:
        self._picture.use()
        red, green, blue = (float(each) for each in scene.light.maps[2, HEIGHT // 2].mean(0))
        self._picture.clear(red, green, blue, 1.0)
        for each in buffers:
            if not _is_clear(each):
                self._set_material(self._solid, each)
                each.draw(self._solid)
        clear = [b for b in buffers if _is_clear(b)]
        clear.sort(key=lambda b: -np.linalg.norm(b.placed.mesh.v.mean(0) - scene.camera.eye))
        for each in clear:
            self._context.enable(moderngl.CULL_FACE)
            for hidden in ("front", "back"):
                self._context.cull_face = hidden
                self._context.copy_framebuffer(self._copy_target, self._picture)
                self._picture.use()
                self._copy.use(_UNITS["behind"])
                self._set_material(self._clear, each)
                each.draw(self._clear)
            self._context.disable(moderngl.CULL_FACE)

    def _set_material(self, program: moderngl.Program, each: _Buffers) -> None:
        material = each.placed.material
        if each.picture:
            each.picture.use(_UNITS["picture"])
        self._reliefs[material.relief].use(_UNITS["relief_map"])
        back = (-1.0, -1.0, -1.0) if material.back is None else linear(material.back)
        _set(
            program,
            colour=linear(material.colour),
            back_colour=back,
            has_picture=float(each.picture is not None),
            is_floor=float(each.placed.floor),
        )
        for name in ("roughness", "metal", "gloss", "bump", "grain", "mottle", "through", "facets"):
            _set(program, **{name: float(getattr(material, name))})
        if material.clear:
            clear: Clear = material.clear
            _set(program, tint=linear(clear.tint), haze=clear.haze, bend=clear.bend, rim=clear.rim)


def linear_mean(texture: np.ndarray) -> np.ndarray:
    """Mean linear colour of an sRGB picture, uint8, shape (3,)."""
    return linear(texture[::7, ::7, :3].reshape(-1, 3) / 255.0).mean(0)


def _is_clear(buffers: _Buffers) -> bool:
    return buffers.placed.material.clear is not None


def _extent(buffers: Iterable[_Buffers]) -> tuple[np.ndarray, np.ndarray]:
    places = [b.placed.mesh.v for b in buffers]
    if not places:
        return np.array([-0.1, -0.1, 0.0]), np.array([0.1, 0.1, 0.1])
    return (
        np.min([v.min(0) for v in places], axis=0).astype(float),
        np.max([v.max(0) for v in places], axis=0).astype(float),
    )


def _set(program: moderngl.Program, **values: object) -> None:
    for name, value in values.items():
        if name in program:
            flat = np.asarray(value, "f4").ravel()
            program[name].value = float(flat[0]) if flat.size == 1 else tuple(flat.tolist())


@lru_cache(maxsize=2)
def canvas(size: int) -> Canvas:
    """Return this process's canvas of a size."""
    return Canvas(size)
