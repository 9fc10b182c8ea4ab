"""Hazards named in the logs: words in several languages, misspelt ones and denied ones too.

A word counts as denied only where the log plainly says that nothing was seen; in doubt it counts
as named. A denial is never dropped: it is handed on, since a core sees little of the waste.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import cache
from typing import TYPE_CHECKING

from reclaim.hazards.rules import RuleBook, rule_book
from reclaim.reference import read_rows

if TYPE_CHECKING:
    from collections.abc import Iterable

    import pandas as pd

    from reclaim.hazards.caution import Caution
    from reclaim.site.hazardinputs import LocalWord

# One slip of the pen in six letters leaves a ratio of 0.83. Only words marked "near" in the word
# file may be misspelt: one letter makes another word of most others (drum and drug).
_LIKENESS = 0.83
_WORDS_AFTER_NEGATION = 6
_WORDS_BEFORE_DENIAL = 3
_WORDS_BEFORE_ABSENCE = 2
_PLURALS = frozenset({"s", "es", "e", "n", "en", "x"})
_PLACES_SHOWN = 3

# Keys of the word file that are not hazards.
GRAMMAR = frozenset(
    {
        "negation",
        "absence",
        "observation",
        "alternative",
        "contrast",
        "not_a_denial",
        "other_meaning",
    }
)
_SENTENCE_ENDS = re.compile(r"[.;!?()\n]+")


@dataclass(frozen=True, slots=True)
class Mention:
    """A hazard named, or denied, in one note of the interval table.

    Attributes
    ----------
    key
        The rule it falls under.
    place
        Core and depth interval, in words.
    note
        The note itself.
    denied
        True where the note says that none was seen.
    core
        The core.
    record
        File and row; empty where the table has none.
    """

    key: str
    place: str
    note: str
    denied: bool
    core: str = ""
    record: str = ""


@dataclass(frozen=True, slots=True)
class _Word:
    key: str
    tokens: tuple[str, ...]
    part: bool
    near: bool


@dataclass(frozen=True, slots=True, eq=False)
class _Vocabulary:
    """The word file and the user's words, by use; each without accents, in small letters.

    `negation` and `alternative` map a word to its languages.
    """

    hazards: tuple[_Word, ...]
    known: frozenset[str]
    negation: dict[str, frozenset[str]]
    alternative: dict[str, frozenset[str]]
    absence: frozenset[str]
    observation: frozenset[str]
    contrast: frozenset[str]
    not_a_denial: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class _Hit:
    key: str
    start: int
    end: int


def find_mentions(
    intervals: pd.DataFrame, words: tuple[LocalWord, ...] = (), file: str = "interval table"
) -> tuple[Mention, ...]:
    """Return every hazard named or denied in the notes, once per hazard and interval.

    Parameters
    ----------
    intervals
        As in `reclaim.site.Cores`; every layer is read.
    words
        The user's own words, beside those of the reference file.
    file
        Path of the interval table as readers know it.
    """
    mentions = []
    for row in intervals.to_dict("records"):
        core, note = str(row["core_id"]), str(row["note"])
        record = f"{file} row {row['row']:.0f}" if "row" in row else ""
        place = f"core {core}, {row['from_m']:g} to {row['to_m']:g} m"
        if record:
            place = f"{place} ({record})"
        for key, denied in named_in(note, words).items():
            mentions.append(Mention(key, place, note.strip(), denied, core, record))
    return tuple(mentions)


def named_in(note: str, words: tuple[LocalWord, ...] = ()) -> dict[str, bool]:
    """Return the hazards a note speaks of, each with whether it is denied.

    Examples
    --------
    >>> named_in("Grey ash, no asbestos seen. Rusty drum at 3 m")
    {'asbestos': True, 'drums': False}
    >>> named_in("Kein Asbest, aber Altreifen")
    {'asbestos': True, 'tyres': False}
    """
    vocabulary = _vocabulary(words)
    found: dict[str, bool] = {}
    for sentence in _SENTENCE_ENDS.split(_plain(note)):
        for key, denied in _named_in_sentence(sentence, vocabulary):
            found[key] = found.get(key, True) and denied
    return found


def cautions_from_logs(
    mentions: Iterable[Mention], topic: str, book: RuleBook | None = None
) -> tuple[Caution, ...]:
    """Raise one caution per hazard of a topic that the logs name, quoting where."""
    book = book or rule_book()
    by_key: dict[str, list[Mention]] = {}
    for mention in mentions:
        if not mention.denied and book[mention.key].topic == topic:
            by_key.setdefault(mention.key, []).append(mention)
    return tuple(
        book[key].raised_by(
            f"The logs say, {_quoted(found)}.",
            records=[mention.record for mention in found if mention.record],
            cores=[mention.core for mention in found if mention.core],
        )
        for key, found in by_key.items()
    )


def denials(mentions: Iterable[Mention]) -> tuple[str, ...]:
    """Return a sentence per hazard that the logs deny and never name."""
    mentions = tuple(mentions)
    named = {mention.key for mention in mentions if not mention.denied}
    by_key: dict[str, list[Mention]] = {}
    for mention in mentions:
        if mention.denied and mention.key not in named:
            by_key.setdefault(mention.key, []).append(mention)
    return tuple(
        f"{key.replace('_', ' ').capitalize()}: the logs say that none was seen ("
        f"{_quoted(found)}); a core sees too little of the waste to rule it out."
        for key, found in by_key.items()
    )


def _quoted(mentions: list[Mention]) -> str:
    shown = "; ".join(f'{mention.place}: "{mention.note}"' for mention in mentions[:_PLACES_SHOWN])
    more = len(mentions) - _PLACES_SHOWN
    return f"{shown}; and {more} more" if more > 0 else shown


def _named_in_sentence(sentence: str, vocabulary: _Vocabulary) -> list[tuple[str, bool]]:
    """Return hazards of one sentence, each with whether it is denied.

    A denial holds within its clause. Clauses end at a comma or at a word such as "but", "and",
    "with". Two forms reach over a comma, never over such a word: "no asbestos, drums or tyres
    seen", and "asbestos, none seen".
    """
    named = []
    for clauses in _statements(sentence, vocabulary):
        denies_all = _denies_a_list(clauses, vocabulary)
        for clause, following in zip(clauses, (*clauses[1:], ()), strict=True):
            denies_clause = denies_all or _is_bare_denial(following, vocabulary)
            for hit in _hits(clause, vocabulary):
                named.append((hit.key, denies_clause or _is_denied(clause, hit, vocabulary)))
    return named


def _statements(sentence: str, vocabulary: _Vocabulary) -> list[list[tuple[str, ...]]]:
    """Return the parts of a sentence between contrasting words, each as its clauses."""
    contrast = vocabulary.contrast
    statements: list[list[list[str]]] = [[[]]]
    for piece in re.findall(r"[^\W_]+|,", sentence):
        if piece in contrast:
            statements.append([[]])
        elif piece == ",":
            statements[-1].append([])
        else:
            statements[-1][-1].append(piece)
    return [
        [tuple(clause) for clause in clauses if clause] for clauses in statements if any(clauses)
    ]


def _hits(clause: tuple[str, ...], vocabulary: _Vocabulary) -> list[_Hit]:
    hits = []
    for start, token in enumerate(clause):
        for word in _words_beginning_with(token, vocabulary):
            following = clause[start : start + len(word.tokens)]
            if len(following) == len(word.tokens) and all(
                _is_same(token, wanted, word, vocabulary)
                for token, wanted in zip(following, word.tokens, strict=True)
            ):
                hits.append(_Hit(word.key, start, start + len(following)))
    return hits


@cache
def _words_beginning_with(token: str, vocabulary: _Vocabulary) -> tuple[_Word, ...]:
    return tuple(
        word for word in vocabulary.hazards if _is_same(token, word.tokens[0], word, vocabulary)
    )


def _is_same(token: str, wanted: str, word: _Word, vocabulary: _Vocabulary) -> bool:
    if token == wanted or (token.startswith(wanted) and token[len(wanted) :] in _PLURALS):
        return True
    if token in vocabulary.known:
        return False
    return (word.part and wanted in token) or (word.near and is_misspelt(token, wanted))


def is_misspelt(token: str, wanted: str) -> bool:
    """Tell whether a word is one slip of the pen away from another of six letters or more.

    The first letter must be right. Likeness is the ratio of matching blocks of
    `difflib.SequenceMatcher`.

    Examples
    --------
    >>> is_misspelt("asbetsos", "asbestos"), is_misspelt("absent", "asbest")
    (True, False)
    """
    if token[0] != wanted[0] or abs(len(token) - len(wanted)) > 1:
        return False
    return SequenceMatcher(None, token, wanted, autojunk=False).ratio() >= _LIKENESS


def _is_denied(clause: tuple[str, ...], hit: _Hit, vocabulary: _Vocabulary) -> bool:
    """Tell whether a hazard is denied within its clause.

    "no sign of asbestos", "asbestos not seen", "asbestos absent", "asbestos-free".
    """
    telling = _without_void_phrases(clause, vocabulary)
    before = telling[max(0, hit.start - _WORDS_AFTER_NEGATION) : hit.start]
    if any(token in vocabulary.negation for token in before):
        return True
    after = telling[hit.end :]
    if any(token in vocabulary.absence for token in after[:_WORDS_BEFORE_ABSENCE]):
        return True
    for at, token in enumerate(after[:_WORDS_BEFORE_DENIAL]):
        seen = after[at + 1 : at + 1 + _WORDS_BEFORE_DENIAL]
        if token in vocabulary.negation and any(word in vocabulary.observation for word in seen):
            return True
    return False


def _without_void_phrases(clause: tuple[str, ...], vocabulary: _Vocabulary) -> tuple[str, ...]:
    """Blank out what looks like a denial and is none: "no recovery", "not ruled out"."""
    tokens = list(clause)
    for phrase in vocabulary.not_a_denial:
        for start in range(len(clause) - len(phrase) + 1):
            if clause[start : start + len(phrase)] == phrase:
                tokens[start : start + len(phrase)] = [""] * len(phrase)
    return tuple(tokens)


def _denies_a_list(clauses: list[tuple[str, ...]], vocabulary: _Vocabulary) -> bool:
    """Tell whether a statement runs "no A, B or C seen", from its first word to its last."""
    first = _without_void_phrases(clauses[0], vocabulary)[0]
    languages = vocabulary.negation.get(first, frozenset())
    offers = any(
        languages & vocabulary.alternative.get(token, frozenset())
        for clause in clauses
        for token in clause
    )
    return offers and clauses[-1][-1] in vocabulary.observation


def _is_bare_denial(clause: tuple[str, ...], vocabulary: _Vocabulary) -> bool:
    denying = vocabulary.negation.keys() | vocabulary.absence
    return any(token in denying for token in _without_void_phrases(clause, vocabulary)) and all(
        token in denying | vocabulary.observation for token in clause
    )


def _plain(text: str) -> str:
    """Return text in small letters without accents, "asbestfrei" and "d'amiante" taken apart."""
    decomposed = unicodedata.normalize("NFKD", text.casefold())
    letters = "".join(letter for letter in decomposed if not unicodedata.combining(letter))
    return re.sub(r"([^\W_]{4,})(frei|vrij)\b", r"\1 \2", letters)


@cache
def _vocabulary(words: tuple[LocalWord, ...] = ()) -> _Vocabulary:
    rows = [
        *(
            (row["key"], row["language"], row["word"], row["match"])
            for row in read_rows("hazard_words.csv")
        ),
        *((word.key, word.language, _spaced(word.word), word.match) for word in words),
    ]
    by_use: dict[str, dict[str, set[str]]] = {}
    for key, language, word, _ in rows:
        by_use.setdefault(key, {}).setdefault(word, set()).add(language)
    hazards = {
        (key, word, "part" in match, "near" in match)
        for key, _, word, match in rows
        if key not in GRAMMAR
    }
    return _Vocabulary(
        hazards=tuple(
            _Word(key, tuple(word.split()), part, near) for key, word, part, near in sorted(hazards)
        ),
        known=frozenset(
            token
            for use, entries in by_use.items()
            if use != "not_a_denial"
            for word in entries
            for token in word.split()
        ),
        negation={word: frozenset(of) for word, of in by_use["negation"].items()},
        alternative={word: frozenset(of) for word, of in by_use["alternative"].items()},
        absence=frozenset(by_use["absence"]),
        observation=frozenset(by_use["observation"]),
        contrast=frozenset(by_use["contrast"]),
        not_a_denial=tuple(tuple(phrase.split()) for phrase in sorted(by_use["not_a_denial"])),
    )


def _spaced(word: str) -> str:
    """Return a user's word as the words of the file are: plain, with spaces between the parts."""
    return " ".join(re.findall(r"[^\W_]+", _plain(word)))
