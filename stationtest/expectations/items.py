"""Items of a recording: the presentations at several sensors that are parts of one thing (counter-example A27).

Truth says which presentation belongs to which item. An item's time runs from the start of its first part to the end of its last;
items may overlap, since the next one comes to the first sensor while this one is under way to the last.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from stationtest.expectations.view import View

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Items:
    """Items of one recording, (I,) arrays, by the start of their first part. `kind` indexes the station's kinds, -1 where none
    fits.

    `whole`: presented exactly once at every place of its kind; only then truth says whether its parts match. `last_ns` is the
    start of the last part. `of` (P,) is the row of the item of each presentation, -1 where it has none.
    """

    names: tuple[str, ...]
    kind: Ints
    start_ns: Ints
    end_ns: Ints
    last_ns: Ints
    status: Ints
    whole: Bools
    matching: Bools
    of: Ints

    def __len__(self) -> int:
        return len(self.start_ns)


def items(view: View) -> Items:
    """The items of a recording."""
    return view.once("items", lambda: _items(view))


def belongs(view: View, unit: str) -> tuple[Ints, int]:
    """The row of the set or item of each presentation (P,), -1 where it has none; and how many there are."""
    if unit == "item":
        return items(view).of, len(items(view))
    return view.obs.presentations.set, len(view.obs.sets)


def _items(view: View) -> Items:
    shown = view.obs.presentations
    rows = np.flatnonzero((shown.item >= 0) & ~shown.between)
    order = rows[np.lexsort((shown.start_ns[rows], shown.item[rows]))]
    codes = shown.item[order]
    heads = np.flatnonzero(np.append(True, codes[1:] != codes[:-1])) if len(order) else np.empty(0, np.int64)
    by_start = np.argsort(shown.start_ns[order[heads]], kind="stable")
    groups = np.split(order, heads[1:]) if len(order) else []
    found = [groups[number] for number in by_start.tolist()]
    of = np.full(len(shown), -1, dtype=np.int64)
    kind, whole, matching = [], [], []
    for number, members in enumerate(found):
        of[members] = number
        places = [shown.sensors[code] for code in shown.sensor[members].tolist()]
        fitting = [k for k, one in enumerate(view.station.items) if set(places) <= set(one.at)]
        kind.append(fitting[0] if fitting else -1)
        declared = view.station.items[fitting[0]] if fitting else None
        whole.append(declared is not None and sorted(places) == sorted(declared.at))
        targets = dict(zip(places, (shown.targets[code] for code in shown.target[members].tolist()), strict=True))
        matching.append(whole[-1] and declared is not None and declared.matches(tuple(targets[place] for place in declared.at)))

    def each(values: list[int]) -> Ints:
        return np.array(values, dtype=np.int64)

    return Items(
        names=tuple(shown.items[shown.item[members[0]]] for members in found),
        kind=each(kind),
        start_ns=each([int(shown.start_ns[members].min()) for members in found]),
        end_ns=each([int(shown.end_ns[members].max()) for members in found]),
        last_ns=each([int(shown.start_ns[members].max()) for members in found]),
        status=each([int(np.bitwise_or.reduce(shown.status[members])) for members in found]),
        whole=np.array(whole, dtype=np.bool_),
        matching=np.array(matching, dtype=np.bool_),
        of=of,
    )
