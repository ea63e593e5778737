"""The timers of IEC 61131-3 on interval lists: TON (on-delay), TOF (off-delay), TP (pulse).

After the timing diagrams of IEC 61131-3 (2nd ed. Table 38; 3rd ed. Table 46 and Figure 15), which leave two borders open. Chosen
here, as half-open intervals ask: an input that falls at the instant at which the on-delay has elapsed gives no output; an input
that rises at the instant at which an off-delay or a pulse ends finds it ended (so the output of a delay goes on unbroken, and a
new pulse follows at once).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from stationtest.signals.intervals import fill_gaps, merge

if TYPE_CHECKING:
    from stationtest.signals.intervals import Ints


def on_delay(iv: Ints, delay_ns: int) -> Ints:
    """TON: the output rises `delay_ns` after the input rises and falls with it; a shorter input gives nothing."""
    return iv if delay_ns == 0 else delayed_rises(iv, iv[:, 0] + delay_ns)


def delayed_rises(iv: Ints, rises: Ints) -> Ints:
    """TON with the instants (n,) at which the delay of each rise is over, wherever they come from."""
    later = np.column_stack((rises, iv[:, 1]))
    return later[later[:, 0] < later[:, 1]]


def off_delay(iv: Ints, delay_ns: int) -> Ints:
    """TOF: the output rises with the input and falls `delay_ns` after it fell, unless the input came back before."""
    if delay_ns == 0:
        return iv
    return fill_gaps(iv, delay_ns + 1) + np.array([0, delay_ns], dtype=np.int64)


def delayed_falls(iv: Ints, falls: Ints) -> Ints:
    """TOF with the instants (n,) at which the delay of each fall is over."""
    return merge(np.column_stack((iv[:, 0], falls)))


def pulse(iv: Ints, length_ns: int) -> Ints:
    """TP: a pulse of `length_ns` at each rise of the input; rises while a pulse runs are lost (not retriggered)."""
    starts = triggered(iv[:, 0], length_ns)
    return merge(np.column_stack((starts, starts + length_ns)))


def triggered(instants: Ints, length_ns: int) -> Ints:
    """Of the sorted trigger instants, those that find no pulse of `length_ns` running."""
    if len(instants) < 2 or bool((np.diff(instants) >= length_ns).all()):
        return instants
    # which trigger counts depends on which counted before it: a loop over pulses, each jumping to the next trigger after its end
    following = np.searchsorted(instants, instants + length_ns, "left").tolist()
    taken, at = [], 0
    while at < len(following):
        taken.append(at)
        at = max(following[at], at + 1)
    return instants[taken]
