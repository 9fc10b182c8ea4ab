"""What can happen to a file on its way here: pure functions of its bytes and a random generator.

Each says what may come of it: `HARMLESS` must read as before, `MEANT` has a meaning that the
format's reader must follow, `DAMAGE` may be refused, warned of, or read as what it then says.
"""

from __future__ import annotations

import re

HARMLESS, MEANT, DAMAGE = "harmless", "meant", "damage"
NUMBER = re.compile(rb"(?<![\w.])-?\d+(?:\.\d+)?(?![\w.])")
STRANGE = (
    b"1e308", b"-1e308", b"nan", b"inf", b"-inf", b"-1", b"0", b"1e-320", b"99999999999999999999",
    b"1,5", b"0x10", b"1_000", b"", b"''", b"true", b"null", b"\xc2\xb2", b"--3", b"12e", b"<0.1",
    b"\xd9\xa3", b"1.2.3", b"9" * 5000,
)  # fmt: skip


def flip_bits(data, rng):
    spoiled = bytearray(data)
    for _ in range(int(rng.integers(1, 9))):
        spoiled[rng.integers(len(spoiled))] ^= 1 << int(rng.integers(8))
    return bytes(spoiled)


def flip_bits_of_the_head(data, rng):
    spoiled = bytearray(data)
    for _ in range(int(rng.integers(1, 5))):
        spoiled[rng.integers(min(len(spoiled), 400))] ^= 1 << int(rng.integers(8))
    return bytes(spoiled)


def truncate(data, rng):
    return data[: int(rng.integers(len(data)))]


def put_noise(data, rng):
    place = int(rng.integers(len(data)))
    return data[:place] + rng.bytes(int(rng.integers(1, 40))) + data[place:]


def overwrite_with(data, rng):
    """Lay one of the values that lengths and counts overflow at over the bytes somewhere."""
    value = (
        b"\xff" * 4,
        b"\x00" * 8,
        b"\x7f\xff\xff\xff",
        b"\xff\xff\xff\x7f",
        b"\x80" + b"\0" * 7,
    )
    piece = value[int(rng.integers(len(value)))]
    place = int(rng.integers(max(1, min(len(data), 2000) - len(piece))))
    return data[:place] + piece + data[place + len(piece) :]


def repeat_a_piece(data, rng):
    first, last = sorted(int(n) for n in rng.integers(len(data), size=2))
    return data[:last] + data[first:last] + data[last:]


def strange_number(data, rng):
    found = list(NUMBER.finditer(data))
    if not found:
        return truncate(data, rng)
    number = found[int(rng.integers(len(found)))]
    value = STRANGE[int(rng.integers(len(STRANGE)))]
    return data[: number.start()] + value + data[number.end() :]


def strange_text(data, rng):
    words = list(re.finditer(rb"[A-Za-z_]{2,}", data))
    if not words:
        return truncate(data, rng)
    word = words[int(rng.integers(len(words)))]
    choices = (
        b"",
        b"\0",
        b"=1+1",
        b'"',
        b"../../etc/passwd",
        b"A" * 5000,
        b"\xf0\x9f\xa6\x86",
        b"{{x}}",
    )
    return data[: word.start()] + choices[int(rng.integers(len(choices)))] + data[word.end() :]


def swap_lines(data, rng):
    lines = data.split(b"\n")
    one, other = (int(n) for n in rng.integers(len(lines), size=2))
    lines[one], lines[other] = lines[other], lines[one]
    return b"\n".join(lines)


def lose_a_line(data, rng):
    lines = data.split(b"\n")
    del lines[int(rng.integers(len(lines)))]
    return b"\n".join(lines)


def repeat_a_line(data, rng):
    lines = data.split(b"\n")
    place = int(rng.integers(len(lines)))
    return b"\n".join([*lines[:place], lines[place], *lines[place:]])


def nest(data, rng):
    """Put brackets by the thousand where a value stands."""
    found = list(NUMBER.finditer(data))
    if not found:
        return truncate(data, rng)
    number = found[int(rng.integers(len(found)))]
    deep = int(rng.choice([30, 300, 5000]))
    return data[: number.start()] + b"[" * deep + b"]" * deep + data[number.end() :]


def in_utf16(data, _rng):
    return data.decode("utf-8").encode("utf-16")


def in_latin_1(data, _rng):
    return data.decode("utf-8").encode("latin-1", errors="replace") + b"\xe4"


def with_a_mark(data, _rng):
    return b"\xef\xbb\xbf" + data


def with_crlf(data, _rng):
    return data.replace(b"\n", b"\r\n")


def with_blank_lines_at_the_end(data, _rng):
    return data + b"\n\n\n"


def table(data):
    return [line.split(b",") for line in data.rstrip(b"\n").split(b"\n")]


def text_of(rows, delimiter=b","):
    return b"\n".join(delimiter.join(row) for row in rows) + b"\n"


def swap_columns(data, rng):
    """Swap two columns with their names, which means the same table."""
    rows = table(data)
    one, other = (int(n) for n in rng.integers(len(rows[0]), size=2))
    for row in rows:
        row[one], row[other] = row[other], row[one]
    return text_of(rows)


def in_another_delimiter(data, rng):
    return text_of(table(data), (b";", b"\t")[int(rng.integers(2))])


def with_decimal_commas(data, _rng):
    rows = [[re.sub(rb"^(-?\d+)\.(\d+)$", rb"\1,\2", cell) for cell in row] for row in table(data)]
    return text_of(rows, b";")


def with_spaces(data, _rng):
    return text_of([[b" " + cell + b" " for cell in row] for row in table(data)])


def with_quotes(data, _rng):
    return text_of([[b'"' + cell + b'"' for cell in row] for row in table(data)])


def swap_names(data, rng):
    """Swap two names and leave the columns, which means another table."""
    rows = table(data)
    one, other = (int(n) for n in rng.integers(len(rows[0]), size=2))
    rows[0][one], rows[0][other] = rows[0][other], rows[0][one]
    return text_of(rows)


def lose_a_column(data, rng):
    place = int(rng.integers(len(table(data)[0])))
    return text_of([row[:place] + row[place + 1 :] for row in table(data)])


def repeat_a_column(data, rng):
    place = int(rng.integers(len(table(data)[0])))
    return text_of([[*row, row[place]] for row in table(data)])


def shift_cells(data, rng):
    rows = table(data)
    rows[int(rng.integers(len(rows)))].insert(int(rng.integers(len(rows[0]))), b"7")
    return text_of(rows)


BYTES = (flip_bits, flip_bits_of_the_head, truncate, put_noise, overwrite_with, repeat_a_piece)
TEXT = (*BYTES, strange_number, strange_text, swap_lines, lose_a_line, repeat_a_line)
TABLE = (*TEXT, swap_names, lose_a_column, repeat_a_column, shift_cells, in_latin_1)
DOCUMENT = (*TEXT, nest, in_utf16)
HARMLESS_TEXT = (with_a_mark, with_crlf, with_blank_lines_at_the_end)
HARMLESS_TABLE = (
    *HARMLESS_TEXT, swap_columns, in_another_delimiter, with_decimal_commas, with_spaces,
    with_quotes, in_utf16,
)  # fmt: skip
