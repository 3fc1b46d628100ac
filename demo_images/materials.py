"""Procedural Cycles materials. Pattern sizes are in metres of object space."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy

Colour = Sequence[float]
Socket = bpy.types.NodeSocket


class Shader:
    """A material around one Principled BSDF, with short calls to wire further nodes to it."""

    def __init__(self, name: str, colour: Colour = (0.8, 0.8, 0.8), **inputs: float) -> None:
        self.material = bpy.data.materials.new(name)
        self.material.use_nodes = True
        self.tree = self.material.node_tree
        self.bsdf = self.tree.nodes["Principled BSDF"]
        self.output = self.tree.nodes["Material Output"]
        self.bsdf.inputs["Base Color"].default_value = (*colour[:3], 1.0)
        for key, value in inputs.items():
            self.bsdf.inputs[key.replace("_", " ").title().replace("Ior", "IOR")
                             ].default_value = value
        self._coordinates: dict[str, Socket] = {}

    def node(self, kind: str, inputs: dict[str, Any] | None = None,
             **settings: Any) -> bpy.types.Node:
        """Add a node; input values may be constants or sockets to link."""
        node = self.tree.nodes.new(f"ShaderNode{kind}")
        for key, value in settings.items():
            setattr(node, key, value)
        for key, value in (inputs or {}).items():
            socket = node.inputs[int(key) if key.isdigit() else key]
            if isinstance(value, bpy.types.NodeSocket):
                self.tree.links.new(value, socket)
            else:
                socket.default_value = value
        return node

    def coordinates(self, kind: str = "Object") -> Socket:
        """The texture coordinates of one kind (Object, UV, Generated)."""
        if kind not in self._coordinates:
            self._coordinates[kind] = self.node("TexCoord").outputs[kind]
        return self._coordinates[kind]

    def stretched(self, scale: Colour, kind: str = "Object") -> Socket:
        """Coordinates multiplied by `scale` per axis."""
        return self.node("Mapping", {"Vector": self.coordinates(kind),
                                     "Scale": tuple(scale)}).outputs[0]

    def noise(self, size: float, detail: float = 4.0, vector: Socket | None = None) -> Socket:
        """Noise from 0 to 1 with features of about `size` metres."""
        return self.node("TexNoise", {"Vector": vector or self.coordinates(),
                                      "Scale": 0.5 / size, "Detail": detail}).outputs[0]

    def voronoi(self, size: float, output: str = "Distance",
                feature: str = "F1") -> Socket:
        """Cells of about `size` metres: the distance to, or the colour of, the nearest centre."""
        node = self.node("TexVoronoi", {"Vector": self.coordinates(), "Scale": 1.0 / size},
                         feature=feature)
        return node.outputs[output]

    def ramp(self, value: Socket, stops: Sequence[tuple[float, Colour]]) -> Socket:
        """Map a number to a colour through (position, colour) stops."""
        node = self.node("ValToRGB", {"Fac": value})
        elements = node.color_ramp.elements
        while len(elements) < len(stops):
            elements.new(0.5)
        for element, (position, colour) in zip(elements, stops, strict=True):
            element.position = position
            element.color = (*colour[:3], 1.0)
        return node.outputs[0]

    def mix(self, factor: Socket | float, first: Any, second: Any,
            blend: str = "MIX") -> Socket:
        """Blend two colours (constants or sockets)."""
        first, second = (c if isinstance(c, bpy.types.NodeSocket) else (*c[:3], 1.0)
                         for c in (first, second))
        node = self.node("MixRGB", {"Fac": factor, "Color1": first, "Color2": second},
                         blend_type=blend)
        return node.outputs[0]

    def set(self, name: str, value: Any) -> Shader:
        """Set or link an input of the Principled BSDF."""
        if isinstance(value, bpy.types.NodeSocket):
            self.tree.links.new(value, self.bsdf.inputs[name])
        else:
            self.bsdf.inputs[name].default_value = value
        return self

    def base(self) -> Any:
        """What feeds the base colour now: a socket or a constant colour."""
        socket = self.bsdf.inputs["Base Color"]
        return socket.links[0].from_socket if socket.links else tuple(socket.default_value)

    def bump(self, height: Socket, depth: float, strength: float = 1.0) -> Shader:
        """Add relief: `height` from 0 to 1 stands for `depth` metres, over earlier relief."""
        normal = self.bsdf.inputs["Normal"]
        inputs: dict[str, Any] = {"Height": height, "Distance": depth, "Strength": strength}
        if normal.links:
            inputs["Normal"] = normal.links[0].from_socket
        return self.set("Normal", self.node("Bump", inputs).outputs[0])

    def dirt(self, amount: float, colour: Colour = (0.12, 0.08, 0.05),
             size: float = 0.02) -> Shader:
        """Smear `amount` (0 to 1) of stains over the base colour."""
        low = 0.72 - 0.35 * amount
        mask = self.ramp(self.noise(size, 6), [(low, (0, 0, 0)), (low + 0.25, (0.8, 0.8, 0.8))])
        return self.set("Base Color", self.mix(mask, self.base(), colour))

    def surface(self, shader: bpy.types.Node) -> Shader:
        """Use another shader node in place of the Principled BSDF."""
        self.tree.links.new(shader.outputs[0], self.output.inputs["Surface"])
        return self


def plain(colour: Colour, roughness: float = 0.45, **inputs: float) -> Shader:
    """Solid plastic or paint."""
    shader = Shader("plain", colour, roughness=roughness, **inputs)
    return shader.bump(shader.noise(0.02, 2), 0.0006, 0.4)


def metal(colour: Colour = (0.78, 0.78, 0.8), roughness: float = 0.28,
          brushed: Colour | None = None) -> Shader:
    """Bare metal; `brushed` stretches the scratches by a factor per axis."""
    shader = Shader("metal", colour, metallic=1.0, roughness=roughness)
    spots = shader.ramp(shader.noise(0.008, 5), [(0.3, (roughness * 0.7,) * 3),
                                                 (0.8, (min(1.0, roughness * 1.7),) * 3)])
    shader.set("Roughness", spots)
    if brushed is not None:
        shader.bump(shader.noise(0.001, 3, shader.stretched(brushed)), 0.0002, 0.35)
    return shader.bump(shader.noise(0.012, 2), 0.0006, 0.5)


def printed(image: bpy.types.Image, roughness: float = 0.4, metallic: float = 0.0) -> Shader:
    """A print laid over the UV map; metallic inks keep the sheen of the can below."""
    shader = Shader("printed", roughness=roughness, metallic=metallic)
    texture = shader.node("TexImage", {"Vector": shader.coordinates("UV")}, image=image)
    shader.set("Base Color", texture.outputs[0])
    return shader.bump(shader.noise(0.015, 3), 0.0007, 0.5)


def paper(colour: Colour = (0.82, 0.8, 0.76), fibre: float = 0.0012,
          crumple: float = 0.0) -> Shader:
    """Uncoated paper: fibre noise, and with `crumple` (metres) small creases."""
    shader = Shader("paper", colour, roughness=0.85)
    return papery(shader, fibre, crumple)


def papery(shader: Shader, fibre: float = 0.0012, crumple: float = 0.0) -> Shader:
    """Add fibres and creases to a material that already has its print."""
    fibres = shader.noise(fibre, 6)
    tone = shader.ramp(fibres, [(0.25, (0.82,) * 3), (0.75, (1.0,) * 3)])
    shader.set("Base Color", shader.mix(1.0, shader.base(), tone, "MULTIPLY"))
    if crumple:
        shader.bump(shader.voronoi(0.02, feature="DISTANCE_TO_EDGE"), crumple, 0.7)
        shader.bump(shader.noise(0.03, 3), crumple, 0.6)
    return shader.bump(fibres, 0.0002, 0.6)


def kraft(crumple: float = 0.0) -> Shader:
    """Brown paper with darker fibres."""
    shader = Shader("kraft", roughness=0.85)
    flecks = shader.noise(0.003, 9, shader.stretched((1.0, 0.6, 1.0)))
    shader.set("Base Color", shader.ramp(
        flecks, [(0.25, (0.37, 0.235, 0.125)), (0.75, (0.5, 0.335, 0.19))]))
    return papery(shader, 0.002, crumple)


def glass(colour: Colour = (0.97, 0.99, 0.98), roughness: float = 0.0) -> Shader:
    """Solid glass that lets light through to its shadow side, tinted by `colour`."""
    shader = Shader("glass", colour, roughness=roughness, transmission_weight=1.0, ior=1.48)
    clear = shader.node("BsdfTransparent", {"Color": (*[0.35 + 0.6 * c for c in colour], 1)})
    path = shader.node("LightPath")
    mixed = shader.node("MixShader", {"0": path.outputs["Is Shadow Ray"],
                                      "1": shader.bsdf.outputs[0], "2": clear.outputs[0]})
    shader.bump(shader.noise(0.03, 2), 0.0008, 0.15)
    return shader.surface(mixed)


def clear_film(tint: Colour = (0.96, 0.97, 0.98), gloss: float = 0.06, haze: float = 0.05,
               wrinkle: float = 0.0) -> Shader:
    """Thin clear plastic: see-through, with a mirror skin and a milky `haze` (0 to 1)."""
    shader = Shader("film", (0.85, 0.86, 0.88), roughness=0.5)
    if wrinkle:
        shader.bump(shader.noise(0.012, 4), wrinkle, 0.8)
        shader.bump(shader.voronoi(0.018, feature="DISTANCE_TO_EDGE"), wrinkle, 0.6)
    bent = shader.bsdf.inputs["Normal"].links
    normal = {"Normal": bent[0].from_socket} if bent else {}
    clear = shader.node("BsdfTransparent", {"Color": (*tint, 1.0)})
    mirror = shader.node("BsdfAnisotropic", {"Color": (1, 1, 1, 1), "Roughness": gloss, **normal})
    milky = shader.node("MixShader", {"0": haze, "1": clear.outputs[0],
                                      "2": shader.bsdf.outputs[0]})
    fresnel = shader.node("Fresnel", {"IOR": 1.55, **normal}).outputs[0]
    return shader.surface(shader.node("MixShader", {"0": fresnel, "1": milky.outputs[0],
                                                    "2": mirror.outputs[0]}))


def foil(fine: float = 0.006) -> Shader:
    """Household foil with creases of about `fine` metres."""
    shader = Shader("foil", (0.86, 0.87, 0.88), metallic=1.0, roughness=0.2)
    shader.bump(shader.voronoi(fine, feature="DISTANCE_TO_EDGE"), fine * 0.25, 0.6)
    return shader.bump(shader.noise(fine * 1.5, 4), fine * 0.5, 0.7)


def foam(colour: Colour = (0.9, 0.9, 0.89), bead: float = 0.004) -> Shader:
    """Expanded foam: packed round beads of `bead` metres."""
    shader = Shader("foam", colour, roughness=0.75, subsurface_weight=0.15)
    shader.bsdf.inputs["Subsurface Radius"].default_value = (0.004, 0.004, 0.004)
    cells = shader.voronoi(bead)
    shade = shader.ramp(cells, [(0.35, (1, 1, 1)), (0.8, (0.72, 0.72, 0.7))])
    shader.set("Base Color", shader.mix(1.0, shader.base(), shade, "MULTIPLY"))
    inverse = shader.ramp(cells, [(0.0, (1, 1, 1)), (0.9, (0, 0, 0))])
    return shader.bump(inverse, bead * 0.5, 0.6)


def timber(light: Colour = (0.62, 0.42, 0.24), dark: Colour = (0.36, 0.2, 0.09)) -> Shader:
    """Sawn wood with growth rings around the object's x axis and fibres along it."""
    shader = Shader("timber", roughness=0.7)
    vector = shader.stretched((0.06, 1.0, 1.0))
    rings = shader.node("TexWave", {"Vector": vector, "Scale": 38.0, "Distortion": 5.0,
                                    "Detail": 3.0, "Detail Scale": 1.2},
                        wave_type="RINGS", rings_direction="X")
    shader.set("Base Color", shader.ramp(rings.outputs["Fac"], [(0.15, light), (0.95, dark)]))
    fibre = shader.noise(0.0015, 5, shader.stretched((0.05, 1.0, 1.0)))
    tone = shader.ramp(fibre, [(0.3, (0.75,) * 3), (0.7, (1.0,) * 3)])
    shader.set("Base Color", shader.mix(1.0, shader.base(), tone, "MULTIPLY"))
    return shader.bump(fibre, 0.0006, 0.6)


def cloth(colour: Colour, stripe: Colour | None = None, thread: float = 0.0012,
          stripe_width: float = 0.03) -> Shader:
    """Woven fabric with a thread relief, and stripes along u if `stripe` is given."""
    shader = Shader("cloth", colour, roughness=0.95, sheen_weight=0.35)
    if stripe is not None:
        wave = shader.node("TexWave", {"Vector": shader.coordinates("UV"),
                                       "Scale": 0.3 / stripe_width, "Distortion": 0.0})
        mask = shader.ramp(wave.outputs["Fac"], [(0.49, (0, 0, 0)), (0.53, (1, 1, 1))])
        shader.set("Base Color", shader.mix(mask, colour, stripe))
    for direction in ("X", "Y"):
        weave = shader.node("TexWave", {"Vector": shader.coordinates(), "Scale": 0.16 / thread,
                                        "Distortion": 0.6}, bands_direction=direction)
        shader.bump(weave.outputs["Fac"], thread * 0.5, 0.5)
    lint = shader.ramp(shader.noise(0.004, 6), [(0.3, (0.8,) * 3), (0.7, (1.05,) * 3)])
    return shader.set("Base Color", shader.mix(1.0, shader.base(), lint, "MULTIPLY"))


def organic(light: Colour, dark: Colour, size: float = 0.01, roughness: float = 0.6,
            relief: float = 0.001) -> Shader:
    """Mottled plant matter, food or soil."""
    shader = Shader("organic", roughness=roughness)
    mottle = shader.noise(size, 6)
    shader.set("Base Color", shader.ramp(mottle, [(0.3, dark), (0.68, light)]))
    return shader.bump(mottle, relief, 0.7)
