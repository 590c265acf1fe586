"""`[depots.X.vessels.Y]`: tanks, the hopper and the containment."""

from abc import abstractmethod
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, ValidationInfo, field_validator

from brineward.config.fields import Flow, Height, Length, Line, Mass, SpokenName, quantity_in_si
from brineward.config.mistakes import not_among, shown
from brineward.config.sections import Section, default_of, key, key_of, known_of, refused
from brineward.plant.plan import Fill, Vessel, VesselKind
from brineward.plant.shapes import Box, LyingCylinder, Shape, StrappingTable, UprightCylinder
from brineward.wording.operator_units import level

ShapeWord = Literal["upright cylinder", "lying cylinder", "box", "strapping table"]

# Known to the trade; strength is computed for the first alone.
BRINES = (default_of(Vessel, "brine"), "magnesium chloride", "calcium chloride", "blend")


def _brine(name: str) -> str:
    if name not in BRINES:
        raise refused(f"{shown(name)} is not a brine known here", not_among(name, BRINES, none=""))
    return name


def _levels(info: ValidationInfo, *metres: float) -> list[str]:
    """Levels in the units of the depot."""
    return [level(one, known_of(info).us_units) for one in metres]


class VesselTable(Section):
    """What every vessel says, whatever its shape; its keys make a `Vessel`."""

    name: SpokenName = ""
    kind: VesselKind = key("one of hopper, main, containment, storage", strict=False)
    shape: ShapeWord = key("one of upright cylinder, lying cylinder, box, strapping table")
    brim_m: Length = key('the level at which it runs over, such as "2.40 m"', "brim")
    run_on_m: Height = key_of(
        Vessel, "run_on_m", 'how far the fill runs on above its mark, such as "5 cm"', "run_on"
    )
    fill_mark_m: Length | None = key_of(
        Vessel, "fill_mark_m", 'the level at which the float shuts, such as "2.20 m"', "fill_mark"
    )
    fill_flow: Flow | None = key('the flow of the float-shut fill, such as "0.9 L/s"', default=None)
    brine: Annotated[Line, AfterValidator(_brine)] = key(
        f"one of {', '.join(BRINES)}", default=BRINES[0]
    )
    empty_mass_kg: Mass | None = key_of(
        Vessel, "empty_mass_kg", 'what it weighs empty, such as "300 kg" or "660 lb"', "empty_mass"
    )
    in_containment: bool = key_of(Vessel, "in_containment", "true or false")
    raised_m: Height = key_of(
        Vessel,
        "raised_m",
        'how high its floor is above the containment\'s, such as "10 cm"',
        "raised",
    )

    @field_validator("fill_mark_m")
    @classmethod
    def _mark_under_brim(cls, mark: float | None, info: ValidationInfo) -> float | None:
        brim, run_on = info.data.get("brim_m"), info.data.get("run_on_m")
        if mark is None or brim is None or run_on is None:
            return mark
        mark_said, run_on_said, brim_said = _levels(info, mark, run_on, brim)
        if mark >= brim:
            raise refused(
                f"the fill mark ({mark_said}) is not under the brim ({brim_said})",
                "a mark at which the float shuts before the vessel runs over",
            )
        if mark + run_on >= brim:
            raise refused(
                f"the fill mark ({mark_said}) and its run_on ({run_on_said}) reach the brim "
                f"({brim_said})",
                "a run-on that ends under the brim",
            )
        return mark

    @field_validator("fill_flow")
    @classmethod
    def _fill_has_mark(cls, flow: float | None, info: ValidationInfo) -> float | None:
        if flow is not None and "fill_mark_m" in info.data and info.data["fill_mark_m"] is None:
            raise refused("there is a fill flow but no fill_mark", "a fill_mark beside it")
        return flow

    @field_validator("empty_mass_kg", "in_containment", "raised_m")
    @classmethod
    def _stands_inside(cls, value: object, info: ValidationInfo) -> object:
        if info.data.get("kind") is VesselKind.CONTAINMENT:
            raise refused("the containment itself does not float", "no such key there")
        return value

    @abstractmethod
    def plant_shape(self) -> Shape:
        """The vessel's shape."""

    def planned(self, vessel: str) -> Vessel:
        """The vessel as the plan has it."""
        return self.made(Vessel, id=vessel, shape=self.plant_shape())

    def fills(self, vessel: str) -> tuple[Fill, ...]:
        """The vessel's own fill, where it has one."""
        if self.fill_flow is None:
            return ()
        return (Fill(into=vessel, flow_m3_per_s=self.fill_flow),)


class UprightTable(VesselTable):
    """A standing round tank."""

    diameter_m: Length = key('the inside diameter, such as "2.40 m"', "diameter")

    def plant_shape(self) -> Shape:
        """A standing cylinder."""
        return self.made(UprightCylinder)


class LyingTable(VesselTable):
    """A round tank on its side."""

    diameter_m: Length = key('the inside diameter, such as "2.40 m"', "diameter")
    length_m: Length = key('the inside length, such as "4.0 m"', "length")

    @field_validator("diameter_m")
    @classmethod
    def _brim_inside(cls, diameter: float, info: ValidationInfo) -> float:
        brim = info.data.get("brim_m")
        if brim is not None and brim > diameter:
            brim_said, top = _levels(info, brim, diameter)
            raise refused(
                f"the brim ({brim_said}) is above the top of the lying tank ({top})",
                "a brim no higher than the diameter",
            )
        return diameter

    def plant_shape(self) -> Shape:
        """A lying cylinder."""
        return self.made(LyingCylinder)


class BoxTable(VesselTable):
    """A vessel with a flat rectangular floor."""

    length_m: Length = key('the inside length, such as "7.0 m"', "length")
    width_m: Length = key('the inside width, such as "4.0 m"', "width")

    def plant_shape(self) -> Shape:
        """A box."""
        return self.made(Box)


def _row(row: object) -> tuple[float, float]:
    if not isinstance(row, list) or len(row) != 2:
        raise refused(f"{shown(row)} is not a level and a volume")
    return quantity_in_si(row[0], "length"), quantity_in_si(row[1], "volume")


Row = Annotated[tuple[float, float], BeforeValidator(_row)]


class StrappingTableTable(VesselTable):
    """A vessel measured by filling it."""

    table: list[Row] = key(
        'rows of level and volume, such as [["0 m", "0 L"], ["0.5 m", "2,260 L"]]',
        min_length=2,
        max_length=2_000,
    )

    @field_validator("table")
    @classmethod
    def _rising(cls, table: list[tuple[float, float]], info: ValidationInfo) -> object:
        if table[0][0] < 0 or table[0][1] < 0:
            raise refused("row 1 is below 0", "a first row of no less than 0")
        for number, (lower, upper) in enumerate(pairwise(table), start=2):
            if upper[0] <= lower[0] or upper[1] <= lower[1]:
                raise refused(
                    f"row {number} does not rise above row {number - 1}",
                    "levels and volumes that rise from row to row",
                )
        brim = info.data.get("brim_m")
        if brim is not None and table[-1][0] < brim:
            last, brim_said = _levels(info, table[-1][0], brim)
            raise refused(
                f"the last row ({last}) is under the brim ({brim_said})",
                "a table that reaches the brim",
            )
        return table

    def plant_shape(self) -> Shape:
        """A strapping table."""
        return StrappingTable(
            levels_m=tuple(level for level, _ in self.table),
            volumes_m3=tuple(volume for _, volume in self.table),
        )


class ShapelessTable(VesselTable):
    """A vessel whose shape can't be read: its other keys are still checked."""

    diameter: object = None
    length: object = None
    width: object = None
    table: object = None

    def plant_shape(self) -> Shape:
        """Never asked: without a shape the table is refused."""
        raise TypeError("a vessel without a shape has no plan")


_TABLES: dict[object, type[VesselTable]] = {
    "upright cylinder": UprightTable,
    "lying cylinder": LyingTable,
    "box": BoxTable,
    "strapping table": StrappingTableTable,
    None: ShapelessTable,
}


def vessel_table_for(raw: object) -> type[VesselTable]:
    """The kind of table that a vessel's shape asks for."""
    shape = raw.get("shape") if isinstance(raw, dict) else None
    return _TABLES[shape if isinstance(shape, str) and shape in _TABLES else None]
