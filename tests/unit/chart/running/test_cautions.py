"""What is allowed but deserves a second look: it is told, with its place, and the chart loads."""

from __future__ import annotations

import pytest

from librarian.chart import load, loads, shipped

HEAD = 'id = "x"\nname = "X"\n[[section]]\nid = "s"\nlabel = "S"\n[[parameter]]\nid = "p"\nlabel = "P"\nsection = "s"\n'


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ("range = [0, 127]\nbindings = [{ cc = 74 }]", None),
        ("range = [0, 127]\nbindings = [{ cc = 1 }]", "Reset All Controllers"),
        ("range = [0, 127]\nbindings = [{ cc = 66 }]", "pedal"),
        ("range = [0, 16383]\nbindings = [{ cc14 = 7 }]", "belongs to the mix"),
        ("range = [0, 127]\nbindings = [{ cc = 84 }]", "next note"),
        ("range = [0, 127]\nsetup = true\nbindings = [{ cc = 7 }]", None),
        ('range = [0, 1023]\nbindings = [{ cc = 74, map = "scaled" }]', "only near its value"),
        ('range = [0, 1023]\nbindings = [{ cc = 74, map = "scaled" }, { nrpn = 1 }]', None),
    ],
)
def test_cautions(keys: str, said: str | None) -> None:
    cautions = loads(HEAD + keys).cautions
    if said is None:
        assert cautions == ()
    else:
        (caution,) = cautions
        assert said in caution.sentence
        assert caution.line >= 10


def test_shipped_charts() -> None:
    told = {name: [caution.key for caution in load(path).cautions] for name, path in shipped().items()}
    assert told == {"lanternfish": ["parameter[50].bindings[1].cc14"], "fogbell": ["parameter[22].bindings[1].cc"]}
