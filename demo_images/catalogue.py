"""The pictures of this folder. Everything not fixed here is drawn from the seed."""

from __future__ import annotations

from dataclasses import dataclass

SQUARE = 1.0
WIDE = 4 / 3


@dataclass(frozen=True)
class Picture:
    """One picture; `aspect` is its width over its height."""

    name: str
    seed: int
    variant: int = 0
    floor: str = "concrete"
    light: str = "window_soft"
    aspect: float = WIDE
    table: bool = False
    shows: str = ""

    @property
    def form(self) -> str:
        """The form id: the name without its number."""
        return self.name.rsplit("_", 1)[0]


# Every form comes once before any comes twice.
PICTURES = (
    Picture("drink_can_01", 1, 0, "concrete", "window_soft", SQUARE),
    Picture("food_can_01", 1, 0, "tiles", "ceiling", SQUARE),
    Picture("foil_01", 1, 0, "boards", "window_sun"),
    Picture("corrugated_cardboard_01", 1, 0, "linoleum", "overcast", SQUARE),
    Picture("clear_plastic_bottle_01", 1, 0, "tiles", "window_soft"),
    Picture("moulded_fibre_01", 1, 0, "boards", "overcast"),
    Picture("beverage_carton_01", 3, 0, "linoleum", "window_soft"),
    Picture("opaque_plastic_bottle_01", 1, 0, "whiteboard", "window_soft", SQUARE),
    Picture("paperboard_01", 1, 0, "tiles", "flash"),
    Picture("printed_paper_01", 1, 0, "boards", "window_soft"),
    Picture("paper_bag_wrap_01", 1, 0, "tiles", "window_sun", SQUARE),
    Picture("coated_paper_01", 1, 0, "boards", "window_soft", SQUARE),
    Picture("tissue_01", 1, 0, "boards", "flash"),
    Picture("plastic_tub_tray_01", 1, 0, "news", "window_soft", SQUARE),
    Picture("plastic_foam_01", 1, 0, "concrete", "overcast"),
    Picture("plastic_film_01", 5, 0, "concrete", "window_soft", SQUARE),
    Picture("aerosol_can_01", 1, 0, "concrete", "window_sun"),
    Picture("metal_other_01", 1, 0, "boards", "window_soft"),
    Picture("glass_bottle_01", 1, 0, "boards", "window_sun", SQUARE),
    Picture("glass_jar_01", 1, 0, "news", "window_soft", SQUARE),
    Picture("broken_glass_01", 1, 0, "concrete", "window_soft"),
    Picture("glass_ceramic_other_01", 1, 0, "boards", "ceiling"),
    Picture("food_01", 1, 0, "whiteboard", "window_soft"),
    Picture("garden_01", 3, 0, "concrete", "overcast", SQUARE),
    Picture("textile_01", 1, 0, "boards", "window_soft"),
    Picture("wood_01", 1, 0, "concrete", "overcast"),
    Picture("battery_electronics_01", 4, 0, "tiles", "window_soft", SQUARE),
    Picture("non_item_01", 1, 0, "boards", "window_sun", shows="an empty wooden floor"),
    Picture("non_item_02", 2, 0, "tiles", "ceiling", WIDE, True,
            "the edge of a table over a tiled floor"),
    Picture("corrugated_cardboard_02", 2, 1, "concrete", "window_sun"),
    Picture("drink_can_02", 2, 2, "grass", "overcast", SQUARE),
    Picture("beverage_carton_02", 2, 1, "boards", "ceiling"),
    Picture("opaque_plastic_bottle_02", 2, 1, "tiles", "overcast"),
    Picture("paperboard_02", 2, 1, "linoleum", "window_sun"),
    Picture("foil_02", 2, 2, "whiteboard", "window_soft"),
    Picture("moulded_fibre_02", 2, 1, "tiles", "window_sun"),
    Picture("printed_paper_02", 2, 1, "concrete", "overcast", SQUARE),
    Picture("paper_bag_wrap_02", 2, 1, "whiteboard", "overcast"),
    Picture("coated_paper_02", 2, 1, "asphalt", "overcast"),
    Picture("tissue_02", 2, 1, "tiles", "window_soft"),
    Picture("plastic_tub_tray_02", 2, 1, "whiteboard", "ceiling"),
    Picture("plastic_foam_02", 2, 1, "boards", "window_sun"),
    Picture("plastic_film_02", 2, 2, "asphalt", "window_sun"),
    Picture("plastic_film_03", 3, 1, "boards", "ceiling"),
    Picture("aerosol_can_02", 2, 1, "tiles", "flash", SQUARE),
    Picture("metal_other_02", 2, 2, "concrete", "overcast"),
    Picture("glass_bottle_02", 2, 1, "grass", "overcast"),
    Picture("glass_jar_02", 2, 1, "whiteboard", "window_sun"),
    Picture("glass_ceramic_other_02", 2, 1, "tiles", "overcast"),
    Picture("food_02", 2, 1, "boards", "flash", SQUARE),
    Picture("food_03", 3, 2, "linoleum", "ceiling"),
    Picture("garden_02", 2, 1, "asphalt", "window_sun"),
    Picture("textile_02", 2, 2, "linoleum", "ceiling"),
    Picture("wood_02", 2, 1, "concrete", "overcast"),
    Picture("battery_electronics_02", 2, 1, "boards", "overcast"),
    Picture("battery_electronics_03", 5, 2, "boards", "overcast"),
)
