"""Each kind of sensor is known wherever one must be, and the example config has it."""

import re

import pytest

from brineward.commands.export import _SENML
from brineward.commands.status_lines import _SWITCH_WORDS
from brineward.config.sensor_table import _RULES
from brineward.plant.plan import SI_UNITS, Measure
from brineward.plant.sensor_pairs import APART
from checkout import ROOT

EXAMPLE = (ROOT / "config" / "tern-hollow.toml").read_text(encoding="utf-8")
EXPLAINED = EXAMPLE.split('measures = "level"  ')[1].split("at = ")[0]


@pytest.mark.parametrize("measure", list(Measure))
def test_it_can_be_in_a_config_and_the_example_has_one(measure: Measure) -> None:
    """A table of its own, in use or behind a #, and its word where the words are listed."""
    assert measure in _RULES
    assert re.search(rf'^(# )?measures = "{measure}"', EXAMPLE, re.MULTILINE)
    assert re.search(rf"[ ;]{measure}[,;.\n]", EXPLAINED)


@pytest.mark.parametrize("measure", list(Measure))
def test_it_can_be_shown_exported_and_compared(measure: Measure) -> None:
    """A switch has its two words; anything else its unit, here and in SenML, and how far two of it
    may truly differ."""
    assert (measure in SI_UNITS) is not measure.is_switch
    assert (measure in _SENML) is not measure.is_switch
    assert (measure in APART) is not measure.is_switch
    assert (measure in _SWITCH_WORDS) is measure.is_switch
