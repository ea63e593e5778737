"""`order: [1, 2, 3]`: the first sure on-times in a set come in this order.

Unit: set. Fields: a list of channels, at least two.
Conforms: each channel fired for sure in the set, and its first sure on-time begins later than that of the one before it.
Instant named: the first on-time that came too early. Value: none.
Not judged: no times; an answer left open; cut sets.
Example by hand: channel 1 at 9.200 s, channel 2 at 9.100 s: `order: [1, 2]` is nonconforming.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

from pydantic import AfterValidator

from stationtest.expectations.wording import listed
from stationtest.files.fields import Single
from stationtest.files.scalars import ChannelName, wrong

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from stationtest.expectations.trials import Trials
    from stationtest.expectations.view import View
    from stationtest.model.judged import Judged
    from stationtest.model.station import Station

    Bools = NDArray[np.bool_]
    Ints = NDArray[np.int64]


def _two_or_more(names: tuple[str, ...]) -> tuple[str, ...]:
    if len(names) < 2 or len(set(names)) < len(names):
        raise wrong("an order is of at least two channels, each named once", ", ".join(names))
    return names


Fields = Single[Annotated[tuple[ChannelName, ...], AfterValidator(_two_or_more)]]


def words(fields: Fields, station: Station) -> str:
    return f"channels {listed(fields.root)} come on for the first time in this order"


def judge(fields: Fields, trials: Trials) -> Judged:
    import numpy as np

    from stationtest.expectations.channel_rules import open_answers
    from stationtest.expectations.trials import outcomes, weakest
    from stationtest.expectations.wording import seconds
    from stationtest.model.judged import Judged

    view, index, names = trials.view, trials.index, fields.root
    if not view.timed:
        return trials.not_judged("needs times")
    did = view.obs.responses
    columns = [did.channels.index(name) for name in names if name in did.channels]
    if len(columns) < len(names):
        return trials.not_judged("a channel of the order is not in this recording")
    never = np.iinfo(np.int64).max
    first, unknown = view.once(("first on in sets", names), lambda: _first_on(view, columns, open_answers(view)[0]))
    at, open_ = first[index], unknown[index].any(axis=1)
    missing = (at == never).any(axis=1)
    early = (at[:, 1:] <= at[:, :-1]) & (at[:, 1:] < never)

    def why(i: int) -> str:
        if missing[i]:
            return f"channel {names[int(np.flatnonzero(at[i] == never)[0])]} did not fire in it"
        if early[i].any():
            k = int(np.flatnonzero(early[i])[0])
            one, other = int(at[i, k]), int(at[i, k + 1])
            return f"channel {names[k + 1]} came on at {seconds(other, one)}, channel {names[k]} at {seconds(one, other)}"
        return "the state of a channel was not known"

    return Judged(
        outcome=outcomes((missing | early.any(axis=1)) & ~open_, open_),
        why=why,
        channel=lambda i: names[int(np.flatnonzero(early[i])[0]) + 1] if early[i].any() else "",
        at_ns=lambda i: int(at[i, int(np.flatnonzero(early[i])[0]) + 1]) if early[i].any() else int(trials.start_ns()[i]),
        basis=weakest(tuple(view.channel_basis()[c] for c in columns)),
    )


def _first_on(view: View, columns: list[int], open_: Bools) -> tuple[Ints, Bools]:
    """(S, n) twice: the first sure on-time of each channel in each set (the greatest integer if none), and whether it is
    not known."""
    import numpy as np

    shown, did = view.obs.presentations, view.obs.responses
    member = shown.set >= 0
    first = np.full((len(view.obs.sets), len(columns)), np.iinfo(np.int64).max, dtype=np.int64)
    unknown = np.zeros(first.shape, dtype=np.bool_)
    for k, c in enumerate(columns):
        fired = member & did.fired[:, c]
        np.minimum.at(first[:, k], shown.set[fired], did.first_on_ns[fired, c])
        unknown[shown.set[member & did.applies[:, c] & open_[:, c]], k] = True
    return first, unknown
