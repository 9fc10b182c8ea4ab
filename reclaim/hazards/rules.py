"""The rules as data: limits on gas, what raises every other caution, and whose rules hold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Literal, cast

from reclaim.hazards.caution import Caution, CautionLevel
from reclaim.reference import read_rows

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from reclaim.site.hazardinputs import LocalLimit, Profile

Direction = Literal["above", "below"]

URGENCY: dict[CautionLevel, int] = {"stop": 0, "act": 1, "watch": 2}
_PROFILES = ("us", "uk", "eu")


@dataclass(frozen=True, slots=True)
class GasLimit:
    """One limit on one gas: a row of ``gas_limits.csv``, or a local one.

    Attributes
    ----------
    gas, label, unit
        Column of the gas table, the gas in words, and the unit of both.
    limit
        What the limit is, in words.
    direction, value
        The side on which the limit is passed, and the limit [unit].
    key, level, what, do, who_decides, source, status, unknown
        As in `Caution`.
    jurisdiction, edition
        Where the limit holds, and the clause or edition it was taken from.
    profiles
        The profiles that screen against it.
    """

    key: str
    gas: str
    label: str
    limit: str
    direction: Direction
    value: float
    unit: str
    level: CautionLevel
    what: str
    do: str
    who_decides: str
    source: str
    status: str
    jurisdiction: str
    edition: str
    profiles: frozenset[str]
    unknown: str

    @property
    def in_words(self) -> str:
        """The rule that sets the level, e.g. "stop at 5 % v/v or more: ..."."""
        side = "or more" if self.direction == "above" else "or less"
        named = f"{self.limit}; {_place(self.jurisdiction, self.edition)}"
        return f"{self.level} at {self.value:g} {self.unit} {side}: {named}"

    def is_passed_by(self, reading: float) -> bool:
        """Tell whether a reading passes the limit; one exactly at it does, on the safe side.

        Examples
        --------
        >>> flammable = next(limit for limit in gas_limits() if limit.key == "methane_flammable")
        >>> [flammable.is_passed_by(reading) for reading in (4.99, 5.0, float("nan"))]
        [False, True, False]
        """
        return reading >= self.value if self.direction == "above" else reading <= self.value


@dataclass(frozen=True, slots=True)
class Rule:
    """What raises a caution that is not a gas limit: a row of ``cautions.csv``.

    Attributes
    ----------
    limit, value, unit
        The limit in words and as a number [unit]; empty and None where a record raises the
        caution, not a number.
    jurisdiction, edition
        Where the rule holds, and the clause or edition it was taken from.
    profiles
        The profiles that it belongs to.
    key, topic, level, what, do, who_decides, source, status, unknown
        As in `Caution`.
    """

    key: str
    topic: str
    level: CautionLevel
    limit: str
    value: float | None
    unit: str
    what: str
    do: str
    who_decides: str
    source: str
    status: str
    jurisdiction: str
    edition: str
    profiles: frozenset[str]
    unknown: str

    @property
    def number(self) -> float:
        """The limit as a number [unit].

        Raises
        ------
        ValueError
            Where the rule has none.
        """
        if self.value is None:
            raise ValueError(f"The rule '{self.key}' has no number.")
        return self.value

    @property
    def in_words(self) -> str:
        """The rule that sets the level."""
        raised_by = self.limit or "any such record or finding"
        return f"{self.level}: {raised_by}; {self.place}"

    @property
    def place(self) -> str:
        """Where the rule holds, and the clause or edition it was taken from."""
        return _place(self.jurisdiction, self.edition)

    def raised_by(
        self, why: str, *, records: Iterable[str] = (), cores: Iterable[str] = ()
    ) -> Caution:
        """Return the caution, with the number or record of the site that raised it."""
        return Caution(
            key=self.key,
            topic=self.topic,
            level=self.level,
            what=self.what,
            why=why,
            do=self.do,
            who_decides=self.who_decides,
            source=self.source,
            status=self.status,
            rule=self.in_words,
            unknown=self.unknown,
            records=tuple(records),
            cores=tuple(dict.fromkeys(cores)),
        )


@dataclass(frozen=True, slots=True)
class RuleBook:
    """The rules that hold for one site.

    Attributes
    ----------
    profile
        ``us``, ``uk``, ``eu``, or ``all`` for the strictest of the three.
    gas
        Limits on gas.
    rules
        Every other rule by key, those of other profiles too, since calculations name them.
    local
        Keys that the user's own limits changed or added.
    """

    profile: Profile
    gas: tuple[GasLimit, ...]
    rules: Mapping[str, Rule]
    local: frozenset[str]

    def __getitem__(self, key: str) -> Rule:
        """Return a rule by its key."""
        return self.rules[key]

    def of_profile(self, *keys: str) -> tuple[Rule, ...]:
        """Return those of the rules named that belong to the profile."""
        return tuple(
            rule
            for rule in (self.rules[key] for key in keys)
            if self.profile == "all" or self.profile in rule.profiles
        )


@cache
def gas_limits() -> tuple[GasLimit, ...]:
    """Return every published limit on gas, in the order of the file."""
    return tuple(_record(GasLimit, row) for row in read_rows("gas_limits.csv"))


@cache
def caution_rules() -> Mapping[str, Rule]:
    """Return every other published rule by its key."""
    rows = read_rows("cautions.csv")
    return MappingProxyType({row["key"]: _record(Rule, row) for row in rows})


@cache
def rule_book(profile: Profile = "all", local: tuple[LocalLimit, ...] = ()) -> RuleBook:
    """Return the rules of a profile, the user's own in place of published ones.

    Parameters
    ----------
    profile
        ``us``, ``uk``, ``eu`` or ``all``. Where a profile has no number of its own, its rows are
        those of another, which the row names.
    local
        Checked rows of the user's file; they hold whatever the profile.
    """
    chosen = {
        limit.key: limit for limit in gas_limits() if profile == "all" or profile in limit.profiles
    }
    published = {limit.key: limit for limit in gas_limits()}
    rules = dict(caution_rules())
    for row in local:
        if row.key in rules:
            rules[row.key] = _localised(rules[row.key], row)
        elif row.key in published:
            chosen[row.key] = _localised(published[row.key], row)
        else:
            chosen[row.key] = _new_limit(row)
    return RuleBook(
        profile=profile,
        gas=tuple(chosen.values()),
        rules=MappingProxyType(rules),
        local=frozenset(row.key for row in local),
    )


def _localised(rule: Any, row: LocalLimit) -> Any:
    """Return a published limit or rule with what a local row says in its place."""
    stated = {
        name: getattr(row, name)
        for name in ("level", "limit", "jurisdiction", "edition", "who_decides")
        if getattr(row, name)
    }
    words = stated.pop("limit", f"local limit in place of {rule.value:g} {rule.unit}")
    if isinstance(rule, Rule):  # the words of a rule hold its number
        words = f"{row.value:g} {rule.unit} ({words})"
    where = {"jurisdiction": "local code", "edition": ""}
    own = {"limit": words, "value": row.value, "source": row.where, "status": "given"}
    return replace(rule, **{**where, **stated, **own}, profiles=frozenset(_PROFILES))


def _new_limit(row: LocalLimit) -> GasLimit:
    like = next(limit for limit in gas_limits() if limit.gas == row.gas)
    return replace(
        like,
        key=row.key,
        limit=row.limit,
        direction=cast("Direction", row.direction),
        value=row.value,
        level=cast("CautionLevel", row.level),
        what=f"{like.label} reaches a level that the local code names: {row.limit}.",
        do="Do as the local code says; it holds before every other number here.",
        who_decides=row.who_decides or like.who_decides,
        source=row.where,
        status="given",
        jurisdiction=row.jurisdiction,
        edition=row.edition,
        profiles=frozenset(_PROFILES),
    )


def _record(kind: Any, row: Mapping[str, str]) -> Any:
    numbers = {"value": float(row["value"]) if row["value"] else None}
    return kind(**{**row, **numbers, "profiles": frozenset(row["profiles"].split())})


def _place(jurisdiction: str, edition: str) -> str:
    return f"{jurisdiction}, {edition}" if edition else jurisdiction
