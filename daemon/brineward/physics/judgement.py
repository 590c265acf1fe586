"""Which hydrometer tests of a probe are believed, and what they show to have happened to it.

Tests have errors too. What they share (the hydrometer's own marks, other salts in its density, and
on one day the person and the glass) does not shrink with their number. A test far from what the
others predict is set aside and widens the interval, since it may be right; the next one, on another
occasion, decides. If that agrees with the others, the odd one was a slip. If it lies on the odd
one's side, the probe has changed (a film, scale, air, a cleaning), and both are believed: its
constant may be different from then on, and may go on moving, as with a growing film.

All tests are judged in the order in which they were made, however late they were entered.
"""

from collections.abc import Sequence
from typing import Literal, NamedTuple

from brineward.physics.calibration_prior import Change, ChangeKind, Sizes
from brineward.physics.creeping import film_believed, likeliest_film
from brineward.physics.estimate import Estimate
from brineward.physics.probe_test import ProbeTest, same_occasion

ODD = 3.0
"""A test so many standard deviations from what was expected is set aside."""
AGREES = 2.0
TREND = 1.8
"""Two tests in a row that lie so many on one side, on two occasions, are a drift: by chance it
happens once in four hundred tests, and then costs a little width."""
LESS_SURE = 2.0
"""A test whose own error is this many times that of the one set aside, or more, as of a test in
doubt, agrees with nearly anything: it counts for what it weighs, and decides nothing."""

Finding = Literal["kept", "odd", "slip", "step", "undecided"]
"""`kept`: believed. `odd`: set aside, the next one decides. `slip`: set aside, and the next one
agreed with those before. `step`: believed, and with it that the probe has changed. `undecided`: set
aside, and the probe was cleaned before another test."""


class Believed(NamedTuple):
    """The tests that are kept, in order of time, and when and how the probe changed."""

    kept: tuple[ProbeTest, ...]
    changes: tuple[Change, ...]


class Judgement:
    """All tests, judged in the order in which they were made."""

    def __init__(
        self, sizes: Sizes, tests: Sequence[ProbeTest], seen: Sequence[Change] = ()
    ) -> None:
        """`seen` are the changes of the probe that standing brine has shown."""
        self._sizes = sizes
        self.findings: dict[ProbeTest, Finding] = {}
        self.parted: dict[ProbeTest, tuple[float, float]] = {}
        self.kept: list[ProbeTest] = []
        self.odd: list[ProbeTest] = []
        self.changes: list[Change] = list(seen)
        self.estimate = Estimate(sizes, (), seen)
        self.after: list[Believed] = [self._believed()]
        """What was believed after so many of the tests: as if the later ones were not made."""
        for test in tests:
            self._take(test)
            self.after.append(self._believed())

    def _believed(self) -> Believed:
        return Believed(tuple(self.kept), tuple(self.changes))

    def _take(self, test: ProbeTest) -> None:
        if test.cleaned:
            self._change(test.seconds, "cleaned")
            self.findings |= dict.fromkeys(self.odd, "undecided")
            self.odd = []
            self.estimate = Estimate(self._sizes, self.kept, self.changes)
        parting = self.estimate.parting(test)
        expected = self.estimate.expected(test).log_factor
        self.parted[test] = round(test.log_factor - expected, 6), abs(parting)
        if abs(parting) <= ODD and not self.odd:
            if self._is_trend(test, parting):
                self._explain_trend(test)
            else:
                self._keep(test)
        elif not self.odd:
            self._set_aside(test)
        else:
            self._decide(test, parting)

    def _is_trend(self, test: ProbeTest, parting: float) -> bool:
        """Did the one before it, believed as well, lie as far on the same side?"""
        if not self.kept or test.cleaned:
            return False
        last = self.kept[-1]
        _, off = self.parted[last]
        side = self.parted[last][0] * parting
        known = self.findings[last] == "kept" and not last.cleaned
        far = min(off, abs(parting)) >= TREND and side > 0.0
        return known and far and not same_occasion(last, test)

    def _explain_trend(self, test: ProbeTest) -> None:
        """Did a film come at once before the first of the two, or does one grow?"""
        first = self.kept[-1]
        stays = Estimate(self._sizes, [*self.kept, test], self.changes)
        film, by_film = likeliest_film(stays, test.seconds)
        step = Change(min(first.seconds, test.seconds), "step")
        stepped = Estimate(self._sizes, [*self.kept, test], [*self.changes, step])
        if film is not None and by_film > stepped.likelihood() - stays.likelihood():
            self.changes.append(film)
            self._keep(test)
        else:
            self._believe(self.kept.pop(), test, 0.0)

    def _decide(self, test: ProbeTest, parting: float) -> None:
        """One was set aside before: does this one agree with it, or with those before it?"""
        first = self.odd[-1]
        if test.own >= LESS_SURE * first.own:
            if abs(parting) <= ODD:
                self._weigh(test)
            else:
                self._set_aside(test)
            return
        side = self.estimate.parting(first)
        changed = Change(min(first.seconds, test.seconds), "step")
        after = Estimate(self._sizes, [*self.kept, first], [*self.changes, changed])
        by_change = abs(after.parting(test))
        if abs(parting) <= ODD and (abs(parting) <= AGREES or abs(parting) <= by_change):
            self._keep(test)
        elif same_occasion(first, test):
            self._set_aside(test)
        elif by_change <= ODD or side * parting > 0.0:
            self._believe(first, test, by_change)
        else:
            self._set_aside(test)

    def _believe(self, first: ProbeTest, test: ProbeTest, by_change: float) -> None:
        """A second on the same side: the probe has changed, by the first of them at the latest."""
        self._change(min(first.seconds, test.seconds), "step")
        if by_change > ODD:
            # On one side, but far from one another: it has changed again in between.
            self._change(test.seconds, "step")
        for one in self.odd[:-1]:
            self.findings[one] = "slip"
        self.findings[first] = self.findings[test] = "step"
        self.odd = []
        self.kept += [first, test]
        self.estimate = Estimate(self._sizes, self.kept, self.changes)

    def _keep(self, test: ProbeTest) -> None:
        for one in self.odd:
            self.findings[one] = "slip"
        self.odd = []
        self._weigh(test)

    def _weigh(self, test: ProbeTest) -> None:
        self.findings[test] = "kept"
        self.kept.append(test)
        self.estimate = Estimate(self._sizes, self.kept, self.changes)
        film = film_believed(self.estimate, test.seconds)
        if film is not None:
            self.changes.append(film)
            self.estimate = Estimate(self._sizes, self.kept, self.changes)

    def _set_aside(self, test: ProbeTest) -> None:
        self.findings[test] = "odd"
        self.odd = [*self.odd, test]

    def _change(self, seconds: float, kind: ChangeKind) -> None:
        self.changes.append(Change(seconds, kind))
