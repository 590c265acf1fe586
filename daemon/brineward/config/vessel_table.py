"""`[depots.X.vessels.Y]`: tanks, the hopper and the containment."""

from abc import abstractmethod
from itertools import pairwise
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo, field_validator

from brineward.config.fields import Flow, Height, Length, Line, quantity_in_si
from brineward.config.mistakes import not_among, shown
from brineward.config.sections import Section, refused
from brineward.plant.plan import Fill, Vessel, VesselKind
from brineward.plant.shapes import Box, LyingCylinder, Shape, StrappingTable, UprightCylinder

ShapeWord = Literal["upright cylinder", "lying cylinder", "box", "strapping table"]

# Known to the trade; strength is computed for the first alone.
BRINES = ("sodium chloride", "magnesium chloride", "calcium chloride", "blend")


def _brine(name: str) -> str:
    if name not in BRINES:
        raise refused(f"{shown(name)} is not a brine known here", not_among(name, BRINES, none=""))
    return name


class VesselTable(Section):
    """What every vessel says, whatever its shape."""

    kind: VesselKind = Field(strict=False, description="one of hopper, main, containment, storage")
    shape: ShapeWord = Field(
        description="one of upright cylinder, lying cylinder, box, strapping table"
    )
    brim: Length = Field(description='the level at which it runs over, such as "2.40 m"')
    run_on: Height = Field(
        default=0.05, description='how far the fill runs on above its mark, such as "5 cm"'
    )
    fill_mark: Length | None = Field(
        default=None, description='the level at which the float shuts, such as "2.20 m"'
    )
    fill_flow: Flow | None = Field(
        default=None, description='the flow of the float-shut fill, such as "0.9 L/s"'
    )
    brine: Annotated[Line, AfterValidator(_brine)] = Field(
        default=BRINES[0], description=f"one of {', '.join(BRINES)}"
    )

    @field_validator("fill_mark")
    @classmethod
    def _mark_under_brim(cls, mark: float | None, info: ValidationInfo) -> float | None:
        brim, run_on = info.data.get("brim"), info.data.get("run_on")
        if mark is None or brim is None or run_on is None:
            return mark
        if mark >= brim:
            raise refused(
                f"the fill mark ({mark:g} m) is not under the brim ({brim:g} m)",
                "a mark at which the float shuts before the vessel runs over",
            )
        if mark + run_on >= brim:
            raise refused(
                f"the fill mark ({mark:g} m) and its run_on ({run_on:g} m) reach the brim "
                f"({brim:g} m)",
                "a run-on that ends under the brim",
            )
        return mark

    @field_validator("fill_flow")
    @classmethod
    def _fill_has_mark(cls, flow: float | None, info: ValidationInfo) -> float | None:
        if flow is not None and "fill_mark" in info.data and info.data["fill_mark"] is None:
            raise refused("there is a fill flow but no fill_mark", "a fill_mark beside it")
        return flow

    @abstractmethod
    def plant_shape(self) -> Shape:
        """The vessel's shape."""

    def planned(self, vessel: str) -> Vessel:
        """The vessel as the plan has it."""
        return Vessel(
            id=vessel,
            kind=self.kind,
            shape=self.plant_shape(),
            brim_m=self.brim,
            fill_mark_m=self.fill_mark,
            run_on_m=self.run_on,
            brine=self.brine,
        )

    def fills(self, vessel: str) -> tuple[Fill, ...]:
        """The vessel's own fill, where it has one."""
        if self.fill_flow is None:
            return ()
        return (Fill(into=vessel, flow_m3_per_s=self.fill_flow),)


class UprightTable(VesselTable):
    """A standing round tank."""

    diameter: Length = Field(description='the inside diameter, such as "2.40 m"')

    def plant_shape(self) -> Shape:
        """A standing cylinder."""
        return UprightCylinder(diameter_m=self.diameter)


class LyingTable(VesselTable):
    """A round tank on its side."""

    diameter: Length = Field(description='the inside diameter, such as "2.40 m"')
    length: Length = Field(description='the inside length, such as "4.0 m"')

    @field_validator("diameter")
    @classmethod
    def _brim_inside(cls, diameter: float, info: ValidationInfo) -> float:
        brim = info.data.get("brim")
        if brim is not None and brim > diameter:
            raise refused(
                f"the brim ({brim:g} m) is above the top of the lying tank ({diameter:g} m)",
                "a brim no higher than the diameter",
            )
        return diameter

    def plant_shape(self) -> Shape:
        """A lying cylinder."""
        return LyingCylinder(diameter_m=self.diameter, length_m=self.length)


class BoxTable(VesselTable):
    """A vessel with a flat rectangular floor."""

    length: Length = Field(description='the inside length, such as "7.0 m"')
    width: Length = Field(description='the inside width, such as "4.0 m"')

    def plant_shape(self) -> Shape:
        """A box."""
        return Box(length_m=self.length, width_m=self.width)


def _row(row: object) -> tuple[float, float]:
    if not isinstance(row, list) or len(row) != 2:
        raise refused(f"{shown(row)} is not a level and a volume")
    return quantity_in_si(row[0], "length"), quantity_in_si(row[1], "volume")


Row = Annotated[tuple[float, float], BeforeValidator(_row)]


class StrappingTableTable(VesselTable):
    """A vessel measured by filling it."""

    table: list[Row] = Field(
        min_length=2,
        max_length=2_000,
        description='rows of level and volume, such as [["0 m", "0 L"], ["0.5 m", "2,260 L"]]',
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
        brim = info.data.get("brim")
        if brim is not None and table[-1][0] < brim:
            raise refused(
                f"the last row ({table[-1][0]:g} m) is under the brim ({brim:g} m)",
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
