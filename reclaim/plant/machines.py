"""What each kind of machine does to what reaches it: where matter goes, leaves and enters."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from reclaim.plant.clinging import Stickiness, with_clung_fines
from reclaim.plant.drying import Dried, DryingTerms, dry, dry_with_heat
from reclaim.plant.matter import ROTTING, STABLE, WATER, dry_t, moisture
from reclaim.plant.particle_size import shredded_size, undersize_share
from reclaim.plant.shares import drawn_shares
from reclaim.reference import read_rows

if TYPE_CHECKING:
    from collections.abc import Mapping

    from reclaim.plant.rows import RowDraws
    from reclaim.site.plantfile import MachineSpec

FloatArray = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of machine as ``machines.csv`` holds it.

    Attributes
    ----------
    label
        For readers.
    model
        How it acts: ``sort``, ``screen``, ``washer``, ``box``, ``thermal``, ``shredder`` or
        ``press``.
    outlets
        The first takes what the others leave.
    is_damp_sensitive
        True where fines cling and the catch drops in damp waste.
    """

    label: str
    model: str
    outlets: tuple[str, ...]
    is_damp_sensitive: bool


def kind_of(name: str) -> Kind:
    """Return a kind of machine by its name."""
    row = next(row for row in read_rows("machines.csv") if row["kind"] == name)
    return Kind(row["label"], row["model"], tuple(row["outlets"].split()), row["damp"] == "yes")


@dataclass(frozen=True, slots=True)
class Action:
    """What a machine does with what reaches it in one state of the line.

    Attributes
    ----------
    shares
        Of each part, material and size group by outlet [-], broadcasting to matter; they add to
        one over the outlets.
    kept
        Share of each part that is not lost to the air [-], broadcasting to matter; None for all.
    water_added_t
        Process water taken up [t], shape ``(n_sizes, n_rows, n_materials)``; None for none.
    dried
        The account of a dryer; None for other machines.
    """

    shares: dict[str, FloatArray]
    kept: FloatArray | None = None
    water_added_t: FloatArray | None = None
    dried: Dried | None = None

    def sent(self, outlet: str, inflow: FloatArray) -> FloatArray:
        """Return what an outlet sends on [t], as matter; `inflow` holds the water added."""
        return np.asarray(inflow * self.onward(outlet))

    def onward(self, outlet: str) -> FloatArray:
        """Return the share of what reaches the machine that an outlet sends on [-]."""
        share = self.shares[outlet]
        return share if self.kept is None else share * self.kept

    def change_from(self, other: Action) -> float:
        """Return the largest difference of what the two send on [-] and of the water added."""
        found = [
            np.max(np.abs(self.onward(name) - other.onward(name)), initial=0.0)
            for name in self.shares
        ]
        if self.water_added_t is not None and other.water_added_t is not None:
            scale = max(float(self.water_added_t.max()), 1.0)
            found.append(np.max(np.abs(self.water_added_t - other.water_added_t)) / scale)
        return float(max(found))

    def midway_to(self, other: Action) -> Action:
        """Return the action between this and another of the same machine; without an account."""
        added = None
        if self.water_added_t is not None and other.water_added_t is not None:
            added = (self.water_added_t + other.water_added_t) / 2
        return Action(
            {name: (self.onward(name) + other.onward(name)) / 2 for name in self.shares},
            water_added_t=added,
        )


@dataclass(frozen=True, slots=True)
class Machine:
    """One machine with its numbers drawn.

    Attributes
    ----------
    kind
        Its kind.
    shares
        Drawn shares by outlet, the first left out [-], ``(n_rows, n_materials)``, with
        a first axis of sizes where they count.
    numbers
        Its drawn settings by name, shape ``(n_rows,)``.
    stickiness
        How damp waste sticks.
    terms
        What a dryer is asked to do.
    box_loss, rotting_heat_mj_kg
        Of each material, as in `drying.dry`, shape ``(n_rows, n_materials)``.
    """

    kind: Kind
    shares: Mapping[str, FloatArray]
    numbers: Mapping[str, FloatArray]
    stickiness: Stickiness
    terms: DryingTerms
    box_loss: FloatArray
    rotting_heat_mj_kg: FloatArray

    def act(self, inflow: FloatArray) -> Action:
        """Return what the machine does with an inflow of matter."""
        if self.kind.model == "box":
            parts = inflow.sum(axis=1)
            return self._dried(
                dry(
                    parts[STABLE],
                    parts[ROTTING],
                    parts[WATER],
                    self.box_loss,
                    self.rotting_heat_mj_kg,
                    self.terms,
                )
            )
        if self.kind.model == "thermal":
            parts = inflow.sum(axis=1)
            return self._dried(
                dry_with_heat(
                    parts[STABLE] + parts[ROTTING],
                    parts[WATER],
                    self.terms.target_moisture,
                    self.numbers["heat_kwh_per_kg"],
                )
            )
        shares = self._sorted(inflow)
        if self.kind.model == "washer":
            return self._washed(shares, inflow)
        return Action(shares)

    def _dried(self, dried: Dried) -> Action:
        kept = np.ones((3, 1, *dried.lost_share.shape))
        kept[ROTTING, 0] = 1 - dried.lost_share
        kept[WATER, 0] = 1 - dried.evaporated_share[:, None]
        return Action({self.kind.outlets[0]: np.ones(1)}, kept, dried=dried)

    def _sorted(self, inflow: FloatArray) -> dict[str, FloatArray]:
        """Return shares by outlet, with what damp waste changes; the first takes the rest."""
        rest, *named = self.kind.outlets
        shares = {outlet: self.shares[outlet] for outlet in named}
        if self.kind.is_damp_sensitive:
            wet = moisture(inflow)
            solids = dry_t(inflow)
            clung = self.stickiness.clung(wet)
            caught: FloatArray = np.ones(1)
            if self.kind.model == "sort":
                caught = self.stickiness.caught(wet)
            shares = {
                outlet: with_clung_fines(share * caught, solids, clung)
                for outlet, share in shares.items()
            }
        taken = sum(shares.values()) if shares else np.zeros((1, 1))
        shares[rest] = np.maximum(1 - taken, 0.0)
        return shares

    def _washed(self, shares: dict[str, FloatArray], inflow: FloatArray) -> Action:
        """Return shares where water follows what each outlet holds back when drained."""
        solids = dry_t(inflow)
        clean, *_ = self.kind.outlets
        held: dict[str, FloatArray] = {}
        for outlet, share in shares.items():
            kind = "washed_moisture" if outlet == clean else "sludge_moisture"
            drained = self.numbers[kind][:, None]
            held[outlet] = solids * share * drained / (1 - drained)
        wanted = np.asarray(sum(held.values()))
        by_part = {}
        for outlet, share in shares.items():
            part = np.empty((3, *solids.shape))
            part[:] = share
            part[WATER] = np.divide(held[outlet], wanted, out=part[WATER], where=wanted > 0)
            by_part[outlet] = part
        return Action(by_part, water_added_t=np.maximum(wanted - inflow[WATER], 0.0))


def drawn_machine(
    spec: MachineSpec,
    rows: RowDraws,
    size_mm: FloatArray,
    top_size_mm: FloatArray,
    stickiness: Stickiness,
    terms: DryingTerms,
    box_loss: FloatArray,
    rotting_heat_mj_kg: FloatArray,
) -> Machine:
    """Return a machine with its shares and settings drawn.

    Parameters
    ----------
    spec
        From the plant file.
    rows
        Source of the draws.
    size_mm
        Size of the groups as dug [mm], shape ``(n_sizes, n_rows, n_materials)``.
    top_size_mm
        Top size of shredded pieces that reach it [mm], shape ``(n_rows,)``.
    stickiness, terms, box_loss, rotting_heat_mj_kg
        As in `Machine`.
    """
    kind = kind_of(spec.kind)
    numbers = {name: rows.of(item) for name, item in spec.settings.items()}
    computed: dict[str, FloatArray] = {}
    if kind.model == "screen":
        cut, sharpness = (numbers[name][:, None] for name in ("cut_mm", "sharpness"))
        passing = undersize_share(shredded_size(size_mm, top_size_mm), cut, sharpness)
        named = kind.outlets[1]
        computed[named] = passing if named == "undersize" else 1 - passing
    shares = drawn_shares(spec, kind, rows, computed)
    return Machine(kind, shares, numbers, stickiness, terms, box_loss, rotting_heat_mj_kg)
