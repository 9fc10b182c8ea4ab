"""Hazard words in invented notes: languages, denials, misspellings, and words that mean no harm."""

from __future__ import annotations

import pytest

from reclaim.hazards.log_words import cautions_from_logs, denials, find_mentions, named_in
from reclaim.reference import read_rows
from reclaim.site import LocalWord

from .conftest import log_table


@pytest.mark.parametrize(
    ("note", "key"),
    [
        ("White asbestos board fragments", "asbestos"),
        ("Asbestzementplatten, grau", "asbestos"),
        ("Spritzasbest an Rohr", "asbestos"),
        ("plaques d'amiante", "asbestos"),
        ("restos de amianto", "asbestos"),
        ("asbesthoudend materiaal", "asbestos"),
        ("broken cement sheets", "cement_sheet"),
        ("Wellplatte", "cement_sheet"),
        ("golfplaten", "cement_sheet"),
        ("rusty drums, crushed", "drums"),
        ("Fässer, verrostet", "drums"),
        ("Faesser", "drums"),
        ("fûts métalliques", "drums"),
        ("2 gas bottles", "gas_bottles"),
        ("Gasflasche", "gas_bottles"),
        ("bouteille de gaz", "gas_bottles"),
        ("car batteries", "batteries"),
        ("Autobatterien", "batteries"),
        ("syringes and dressings", "clinical_waste"),
        ("seringues", "clinical_waste"),
        ("Krankenhausabfälle", "clinical_waste"),
        ("radio-active label", "radioactive"),
        ("alte Munition", "munitions"),
        ("obus", "munitions"),
        ("shredded tyres", "tyres"),
        ("Altreifen", "tyres"),
        ("neumáticos", "tyres"),
        ("Ölig, schwarz", "oil_tar_solvent"),
        ("goudron", "oil_tar_solvent"),
        ("free product on water", "oil_tar_solvent"),
        ("pesticide tins", "chemicals"),
        ("hot, steaming ash", "hot_waste"),
        ("Schwelbrand", "hot_waste"),
        ("animal remains", "dead_animals"),
        ("saturated below 4 m", "leachate"),
        ("water strike at 5.2 m", "leachate"),
        ("standing water", "leachate"),
        ("loose, wet paper", "wet_waste"),
        ("warm to the touch", "warm_waste"),
        ("Mineralwolle", "mineral_fibres"),
        ("grey powder", "dusty_waste"),
        ("Sickerwasser", "leachate"),
        ("strong odour", "odour"),
        ("Geruch nach H2S", "odour"),
    ],
)
def test_hazards_are_found(note: str, key: str) -> None:
    assert named_in(note).get(key) is False


@pytest.mark.parametrize(
    "note",
    [
        "no asbestos seen",
        "No visible signs of any asbestos",
        "asbestos not seen",
        "asbestos was not found",
        "asbestos: none",
        "asbestos, none seen",
        "asbestos absent",
        "asbestos-free",
        "without asbestos",
        "no glass, asbestos or wood seen",
        "kein Asbest",
        "Asbest nicht gefunden",
        "ohne Asbest",
        "asbestfrei",
        "pas d'amiante",
        "aucun fragment d'amiante",
        "amiante non observé",
        "absence d'amiante",
        "sin amianto",
        "no se observa amianto",
        "amianto no observado",
        "geen asbest aangetroffen",
        "asbestvrij",
    ],
)
def test_denials_are_told_from_finds(note: str) -> None:
    assert named_in(note)["asbestos"] is True


@pytest.mark.parametrize(
    "note",
    [
        "no odour, asbestos sheet at 3 m",
        "no smell but asbestos",
        "no plastic and asbestos board",
        "no wood. Asbestos below",
        "no recovery asbestos sheet",
        "no core, asbestos in the bit",
        "not only asbestos",
        "asbestos cannot be ruled out",
        "asbestos not tested",
        "possible asbestos?",
        "asbestos? no sample",
        "asbestos free fibres",
        "no asbestos at 2 m, asbestos sheet at 3 m",
        "kein Geruch, aber Asbest",
        "Asbest nicht auszuschliessen",
        "Asbest nicht auszuschließen",
        "keine Probe Asbest",
        "pas d'odeur mais amiante",
        "sin olor pero amianto",
        "geen geur maar asbest",
    ],
)
def test_in_doubt_a_hazard_counts_as_named(note: str) -> None:
    assert named_in(note)["asbestos"] is False


@pytest.mark.parametrize(
    ("note", "key"),
    [
        ("asbetsos", "asbestos"),
        ("abestos", "asbestos"),
        ("asbestoss board", "asbestos"),
        ("Asbset", "asbestos"),
        ("amiente", "asbestos"),
        ("baterry", "batteries"),
        ("batery", "batteries"),
        ("syrigne", "clinical_waste"),
        ("radiactive", "radioactive"),
        ("muntion", "munitions"),
        ("leechate", "leachate"),
    ],
)
def test_one_slip_of_the_pen_is_read(note: str, key: str) -> None:
    assert named_in(note).get(key) is False


def test_a_misspelt_first_letter_is_out_of_reach() -> None:
    assert named_in("esbestos") == {}


@pytest.mark.parametrize(
    "note",
    [
        "drumlin till, boulders",
        "sharp sand and gravel",
        "buttery clay, bacteria growth",
        "Bakterien",
        "température ambiante",
        "aimanté",
        "granite and garnet schist",
        "shell fragments, shale",
        "radius of a pipe bend",
        "carbon black, starch",
        "municipal waste: glass, plastics, paper, timber, brick, ash, textiles",
        "Lehm, Kies, Ziegel, Glas, Plastik, Papier, Holz, Streifen von Ton",
        "erfasst, verfestigt, dicht gelagert",
        "argile, gravier, verre, plastique, papier, bois, cendres",
        "arcilla, grava, vidrio, plástico, papel, madera, ceniza",
        "klei, zand, glas, plastic, papier, hout, puin",
        "firm grey brown slightly gravelly sandy CLAY",
        "communities of moss",
    ],
)
def test_harmless_notes_raise_nothing(note: str) -> None:
    assert named_in(note) == {}


def test_every_word_of_another_meaning_is_needed() -> None:
    from reclaim.hazards import log_words

    hazards = log_words._vocabulary().hazards
    single = [word for word in hazards if len(word.tokens) == 1]
    for row in read_rows("hazard_words.csv"):
        if row["key"] != "other_meaning":
            continue
        token = row["word"]
        caught = [
            word.tokens[0]
            for word in single
            if (word.part and word.tokens[0] in token)
            or (word.near and log_words.is_misspelt(token, word.tokens[0]))
        ]
        assert caught, f"{token} is like no hazard word"


def test_cautions_quote_the_core_the_depth_and_the_note() -> None:
    mentions = find_mentions(log_table("clay", "old tyres", "tyre", "pneus", "Altreifen"))
    (caution,) = cautions_from_logs(mentions, "contents")
    assert caution.key == "tyres"
    assert 'core C1, 1 to 2 m (interval table row 3): "old tyres"' in caution.why
    assert caution.why.endswith("; and 1 more.")


def test_topics_are_kept_apart() -> None:
    mentions = find_mentions(log_table("wet, asbestos"))
    assert [caution.key for caution in cautions_from_logs(mentions, "contents")] == ["asbestos"]
    assert [caution.key for caution in cautions_from_logs(mentions, "water")] == ["wet_waste"]


def test_a_denial_is_handed_on_and_never_reassures() -> None:
    mentions = find_mentions(log_table("no asbestos seen", "no drums", "drum"))
    assert cautions_from_logs(mentions, "contents")[0].key == "drums"
    (sentence,) = denials(mentions)
    assert sentence.startswith("Asbestos: the logs say that none was seen")
    assert "too little of the waste" in sentence


def test_empty_notes_name_nothing() -> None:
    assert find_mentions(log_table("", "  ", "...", ",")) == ()


@pytest.mark.parametrize("note", ["Bags, loose, wet paper", "wet", "papier mouillé", "nass"])
def test_wet_alone_is_watched_and_no_leachate(note: str) -> None:
    assert named_in(note) == {"wet_waste": False}
    (caution,) = cautions_from_logs(find_mentions(log_table(note)), "water")
    assert caution.level == "watch"


def test_words_of_the_user_are_read_with_accents_denials_and_slips() -> None:
    words = (
        LocalWord("asbestos", "pl", "Azbest", "part near"),
        LocalWord("negation", "pl", "brak", "exact"),
        LocalWord("drums", "local", "Blue-Keg", "exact"),
    )
    assert named_in("Azbestu płyta") == {}
    assert named_in("Azbestu płyta", words) == {"asbestos": False}
    assert named_in("azbets", words) == {"asbestos": False}
    assert named_in("brak azbest", words) == {"asbestos": True}
    assert named_in("two blue kegs", words) == {"drums": False}


def test_a_mention_carries_core_and_file_row() -> None:
    (mention,) = find_mentions(log_table("clay", "drum"), file="logs.csv")
    assert (mention.core, mention.record) == ("C1", "logs.csv row 3")
