"""Who is to blame at a sensor, in one sentence: the few mounts and the order that make most of what is felt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vibsim.studies.contributions import PAST, Contributions

MOST = 0.5  # of the mean square: mounts are added until their share at the order passes it
WORTH = 0.05  # of the mean square: a mount that adds less is not named
SAID = 0.1  # share of a source below which it is not said to cancel


@dataclass(frozen=True)
class Blame:
    """`mounts` (none where the path goes past them) at `order` have `share` of the mean square of a sensor; of all its
    orders and paths the strongest `source` has `source_share`, and `against` (may be empty) cancels `against_share`."""

    sensor: str
    mounts: tuple[str, ...]
    order: float
    share: float
    source: str
    source_share: float
    against: str
    against_share: float

    @property
    def words(self) -> str:
        """One sentence."""
        who = "what goes past the mounts"
        if self.mounts:
            *first, last = self.mounts
            names = f"{', '.join(first)} and {last}" if first else last
            who = f"mount{'s' if first else ''} {names}"
        makes = "makes" if len(self.mounts) < 2 else "make"
        text = f"{who} at order {self.order:g} {makes} {100.0 * self.share:.0f} % of what {self.sensor} feels"
        text += " (others cancel part of it)" if self.share > 1.0 else ""
        text += f", mostly by {self.source} ({100.0 * self.source_share:.0f} %)"
        if self.against:
            text += f", against it {self.against} (−{100.0 * self.against_share:.0f} %)"
        return text


def blame(found: Contributions) -> Blame:
    """The order of the greatest share of one path and one order in the mean square, with as many mounts as it takes for
    half of the mean square (derived: the shares in phase with the whole of all orders and paths add up to one)."""
    along = np.real(found.part.sum(axis=1) * found.total.conj()[:, None, :]).sum(axis=2)  # (orders, paths)
    share = along / max(float(np.sum(np.abs(found.total) ** 2)), 1e-300)
    o, first = np.unravel_index(int(share.argmax()), share.shape)
    mounts: tuple[str, ...] = ()
    whole = float(share[o, first])
    if found.paths[first] != PAST:
        ranked = [n for n in np.argsort(share[o])[::-1] if found.paths[n] != PAST]
        kept = ranked[:1]
        for n in ranked[1:]:
            if share[o, kept].sum() >= MOST or share[o, n] < WORTH:
                break
            kept.append(n)
        mounts, whole = tuple(found.paths[n] for n in kept), float(share[o, kept].sum())
    sources = found.by("source")
    last = sources[-1]
    cancels = len(sources) > 1 and last.share <= -SAID
    return Blame(
        sensor=found.sensor,
        mounts=mounts,
        order=float(found.orders[o]),
        share=whole,
        source=sources[0].name,
        source_share=sources[0].share,
        against=last.name if cancels else "",
        against_share=-last.share if cancels else 0.0,
    )
