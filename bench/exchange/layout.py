"""A packed world as bytes and as names for C, both from its arrays alone.

Whatever the kernel's records hold, by their types: a field added there is one more name here.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

import numpy as np

from slipbench.kernel.records import World

ALIGNED = 64
"""Arrays begin at whole multiples of this. [bytes]"""

GAP = 8
"""So many words of zeros end a run of the image."""


class Placed(NamedTuple):
    """An array of the world: its place in the block, the bytes of a row, its fields' offsets."""

    name: str
    array: Any
    place: int
    row: int
    fields: Mapping[str, int]


def placed(world: World) -> list[Placed]:
    """Return the world's arrays with their places, in the order compiled code takes them."""
    found, place = [], 0
    for name, array in zip(world._fields, world, strict=True):
        row = int(array.itemsize * np.prod(array.shape[1:], dtype=np.int64))
        offsets = {key: int(at[1]) for key, at in (array.dtype.fields or {}).items()}
        found.append(Placed(name, array, place, row, offsets))
        place += -(-max(array.nbytes, 1) // ALIGNED) * ALIGNED
    return found


def size_of(world: World) -> int:
    """Return the bytes of the block."""
    last = placed(world)[-1]
    size: int = last.place + -(-max(last.array.nbytes, 1) // ALIGNED) * ALIGNED
    return size


def image_of(world: World) -> bytes:
    """Return the block as it is filled at the start."""
    block = bytearray(size_of(world))
    for one in placed(world):
        block[one.place : one.place + one.array.nbytes] = np.ascontiguousarray(one.array).tobytes()
    return bytes(block)


def packed_image(image: bytes) -> bytes:
    """Return an image as runs that are not zero: their number, then place, length and bytes."""
    words = np.frombuffer(image, dtype=np.int64)
    filled = np.flatnonzero(words)
    if len(filled) == 0:
        return np.int64(0).tobytes()
    breaks = np.flatnonzero(np.diff(filled) > GAP)
    firsts = filled[np.concatenate([[0], breaks + 1])]
    lasts = filled[np.concatenate([breaks, [len(filled) - 1]])] + 1
    parts = [np.int64(len(firsts)).tobytes()]
    for first, last in zip(firsts.tolist(), lasts.tolist(), strict=True):
        parts.append(np.array([8 * first, 8 * (last - first)], dtype=np.int64).tobytes())
        parts.append(image[8 * first : 8 * last])
    return b"".join(parts)


def changes(image: bytes, other: bytes) -> bytes:
    """Return what turns one image into another: the number of words, then place and word."""
    before, after = (np.frombuffer(one, dtype=np.int64) for one in (image, other))
    where = np.flatnonzero(before != after)
    pairs = np.column_stack([8 * where, after[where]]).astype(np.int64)
    return np.int64(len(where)).tobytes() + pairs.tobytes()


def moved(world: World, other: World) -> set[str]:
    """Return the fields, as `array.field`, in which two worlds differ."""
    found: set[str] = set()
    for one, two in zip(placed(world), placed(other), strict=True):
        if one.array.tobytes() == two.array.tobytes():
            continue
        if not one.fields:
            found.add(one.name)
        for field in one.fields:
            if one.array[field].tobytes() != two.array[field].tobytes():
                found.add(f"{one.name}.{field}")
    return found


def layout_lines(world: World, room: Mapping[str, str]) -> Iterator[str]:
    """Yield the names for C: places, rows, fields, and how the world is handed to its function.

    Parameters
    ----------
    world : World
    room : mapping   arrays whose number of rows is a variable of C, and that variable's name
    """
    kinds, values = [], []
    for one in placed(world):
        yield f"#define W_{one.name} {one.place}"
        yield f"#define S_{one.name} {one.row}"
        for field, offset in one.fields.items():
            yield f"#define F_{one.name}_{field} {offset}"
        array = one.array
        shape = [str(n) for n in array.shape]
        count = str(array.size)
        if one.name in room:
            shape[0] = count = room[one.name]
        kinds += ["Null", "Null", "int64_t", "int64_t", "void *", *["int64_t"] * (2 * array.ndim)]
        values += ["NULL", "NULL", count, str(array.itemsize), f"world + W_{one.name}"]
        values += [*shape, *[str(n) for n in array.strides]]
    yield f"#define WORLD_TYPES {', '.join(kinds)}"
    yield f"#define WORLD_ARGUMENTS {', '.join(values)}"
