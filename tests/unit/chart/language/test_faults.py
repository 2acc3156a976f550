"""Each fault has its own sentence, its place and a remedy; all are reported at once; nothing is loaded half."""

from __future__ import annotations

import pytest

from librarian.chart import ChartFaults, Fault, loads

BASE = """\
id = "x"
name = "X"

[[section]]
id = "a"
label = "A"

[[parameter]]
id = "p"
label = "P"
section = "a"
range = [0, 127]
bindings = [{ cc = 74 }]
"""


def faults(text: str) -> tuple[Fault, ...]:
    with pytest.raises(ChartFaults) as caught:
        loads(text, "test.toml")
    return caught.value.faults


def one(text: str) -> Fault:
    found = faults(text)
    assert len(found) == 1, [str(fault) for fault in found]
    return found[0]


def more(text: str) -> str:
    return BASE + text


def changed(old: str, new: str, text: str = BASE) -> str:
    assert old in text
    return text.replace(old, new)


def test_the_base_is_sound() -> None:
    chart = loads(BASE)
    assert (chart.id, chart.revision, list(chart.parameters)) == ("x", 1, ["p"])


ANOTHER = """
[[parameter]]
id = "q"
label = "Q"
section = "a"
range = [0, 127]
bindings = [{ cc = 75 }]
"""
GROUP = """
[[group]]
repeat = { n = [1, 4] }
[[group.parameter]]
id = "op{n}"
label = "Op {n}"
section = "a"
range = [0, 127]
bindings = [{ cc = 20, step = 1 }]
"""
CASES: list[tuple[str, str, int, str, str, str]] = [
    # (what, text, line, key, in the sentence, in the remedy)
    ("missing key", changed('label = "P"\n', ""), 8, "parameter[1].label", "missing", 'Add label = "Cutoff"'),
    ("missing name", changed('name = "X"\n', ""), 0, "name", "missing", "Add name"),
    ("misspelt key", changed('label = "P"', 'lable = "P"'), 10, "parameter[1].lable", "no key", "“label”"),
    ("misspelt table", more("\n[indentity]\nfamily = 1\n"), 15, "indentity", "no key", "“identity”"),
    ("CC 300", changed("cc = 74", "cc = 300"), 13, "parameter[1].bindings[1].cc", "300", "127"),
    ("a text for a number", changed("cc = 74", 'cc = "74"'), 13, "parameter[1].bindings[1].cc", "whole number",
     "whole"),
    ("a fraction for a number", changed("cc = 74", "cc = 7.4"), 13, "parameter[1].bindings[1].cc", "whole", "whole"),
    ("true for a number", changed("cc = 74", "cc = true"), 13, "parameter[1].bindings[1].cc", "whole number", "whole"),
    ("a date for a text", changed('"P"', "1979-05-27"), 10, "parameter[1].label", "a text in quotes", "text"),
    ("a list too short", changed("[0, 127]", "[0]"), 12, "parameter[1].range", "at least 2", "Add"),
    ("wrong choice", changed('label = "P"', 'label = "P"\nkind = "steped"'), 11, "parameter[1].kind", "steped",
     "“stepped”"),
    ("no such section", changed('section = "a"', 'section = "aa"'), 11, "parameter[1].section", "no section “aa”", ""),
    ("range upside down", changed("[0, 127]", "[127, 0]"), 12, "parameter[1].range", "holds no two values", "lowest"),
    ("no range", changed("range = [0, 127]\n", ""), 8, "parameter[1].range", "neither a range nor positions",
     "range ="),
    ("range wider than the binding", changed("[0, 127]", "[0, 1000]"), 13, "parameter[1].bindings[1]",
     "carries 0 to 127",
     "14 bits"),
    ("range below 0", changed("[0, 127]", "[-64, 63]"), 13, "parameter[1].bindings[1]", "carries 0 to 127",
     "offset = 64"),
    ("default outside", changed("[0, 127]", "[0, 127]\ndefault = 128"), 13, "parameter[1].default", "outside the range",
     "0 to 127"),
    ("positions do not count up", changed("range = [0, 127]",
     'kind = "stepped"\nrange = [0, 5]\npositions = ["a", "b"]')
     .replace("cc = 74", 'cc = 74, map = "direct"'), 14, "parameter[1].positions", "2 positions", "Name each"),
    ("positions twice", changed("range = [0, 127]", 'kind = "switch"\npositions = ["a", "A"]'), 13,
     "parameter[1].positions[2]", "Two positions", "own name"),
    ("positions of a pot", changed("range = [0, 127]", 'positions = ["a", "b"]'), 8, "parameter[1].kind", "no named",
     "kind"),
    ("a switch of 5", changed("[0, 127]", '[0, 4]\nkind = "switch"'), 13, "parameter[1].kind", "2 or 3", "stepped"),
    ("stepped, but how", changed("[0, 127]", '[0, 4]\nkind = "stepped"'), 14, "parameter[1].bindings[1]",
     "not said how",
     "map = "),
    ("repeated id", more(ANOTHER.replace('"q"', '"p"')), 16, "parameter[2].id", "another parameter “p”", "own id"),
    ("repeated section", more('\n[[section]]\nid = "a"\nlabel = "B"\n'), 16, "section[2].id", "another section “a”",
     "own"),
    ("an id with a blank", changed('id = "p"', 'id = "p q"'), 9, "parameter[1].id", "a blank", "a-z"),
    ("an empty section", more('\n[[section]]\nid = "b"\nlabel = "B"\n'), 15, "section[2]", "No parameter stands",
     "Remove"),
    ("two on one controller", more(ANOTHER.replace("75", "74")), 20, "parameter[2].bindings[1]",
     "“q” and “p” are both bound to controller 74", "under"),
    ("one on the LSB of a pair", more(ANOTHER.replace("cc = 75", "cc14 = 10").replace("127]", "16383]")
     + ANOTHER.replace('"q"', '"r"').replace("75", "42")), 27, "parameter[3].bindings[1]", "controller 42", ""),
    ("twice the same", changed("[{ cc = 74 }]", "[{ cc = 74 }, { cc = 74 }]"), 13, "parameter[1].bindings[2]",
     "twice", ""),
    ("no kind of binding", changed("{ cc = 74 }", "{ inverted = true }"), 13, "parameter[1].bindings[1]",
     "exactly one", ""),
    ("two kinds of binding", changed("cc = 74", "cc = 74, nrpn = 5"), 13, "parameter[1].bindings[1]", "cc and nrpn",
     ""),
    ("a pair above 31", changed("cc = 74", "cc14 = 40"), 13, "parameter[1].bindings[1]", "no LSB partner",
     "[MSB, LSB]"),
    ("the null NRPN", changed("cc = 74", "nrpn = 16383"), 13, "parameter[1].bindings[1].nrpn", "null", "another"),
    ("no such selector", changed("cc = 74", "cc = 74, under = { layr = 1 }") + '\n[[selector]]\nid = "layer"\ncc = 9\n',
     13, "parameter[1].bindings[1].under.layr", "no selector “layr”", "“layer”"),
    ("no such display", changed("[0, 127]", '[0, 127]\ndisplay = "precent"') + '\n[display.percent]\nunit = "%"\n', 13,
     "parameter[1].display", "no display “precent”", "“percent”"),
    ("a display that says nothing", changed("[0, 127]", '[0, 127]\ndisplay = { scale = "exponential" }'), 13,
     "parameter[1].display", "needs from and to", "both ends"),
    ("points that end too early", changed("[0, 127]",
     '[0, 127]\ndisplay = { scale = "table", points = [[0, 0], [9, 9]] }'),
     13, "parameter[1].display", "run from 0 to 9", "both ends"),
    ("no recall can reach it", changed("{ cc = 74 }", ""), 8, "parameter[1]", "No recall can reach “p”", "by_hand"),
    ("only sent, so not reached", changed("cc = 74", 'cc = 74, only = "transmitted"'), 8, "parameter[1]", "No recall",
     ""),
    ("a cell outside the grid", changed('label = "A"', 'label = "A"\ngrid = [1, 4]').replace("[0, 127]",
     "[0, 127]\ncell = [2, 1]"),
     14, "parameter[1].cell", "cannot be reached", "inside"),
    ("a cell taken twice", changed("[0, 127]", "[0, 127]\ncell = [1, 1]") + ANOTHER.replace("[0, 127]",
     "[0, 127]\ncell = [1, 1]"),
     21, "parameter[2].cell", "taken by “p”", "another"),
    ("a place taken twice", changed('label = "A"',
     'label = "A"\ncolumn = 1') + '\n[[section]]\nid = "b"\nlabel = "B"\ncolumn = 1\n'
     + ANOTHER.replace('"a"', '"b"'), 19, "section[2].column", "taken by “a”", "another"),
    ("too many for the grid", changed('label = "A"', 'label = "A"\ngrid = [1, 1]') + ANOTHER, 7, "section[1].grid",
     "do not fit",
     "larger"),
    ("no neighbour", changed("[0, 127]", '[0, 127]\nbeside = "pp"'), 13, "parameter[1].beside", "no parameter “pp”",
     ""),
    ("no such message", more('\n[[capture]]\nway = "dump"\nmessage = "edit"\n'), 17, "capture[1].message",
     "no message “edit”", ""),
    ("a way without its message", more('\n[[capture]]\nway = "dump"\n'), 15, "capture[1]", "name of a message",
     "message ="),
    ("no such last parameter", more('\n[[capture]]\nway = "controllers"\nend = { last = "P" }\n'), 17,
     "capture[1].end.last",
     "no parameter “P”", "“p”"),
    ("more awaited than there are", more('\n[[capture]]\nway = "controllers"\nend = { count = 9 }\n'), 17,
     "capture[1].end.count", "9 parameters are awaited", "how many"),
    ("a request that is none", more('\n[[capture]]\nway = "controllers"\nrequest = [{ sysex = "F0 7D" }]\n'), 17,
     "capture[1].request[1]", "no SysEx message", "F7"),
    ("a program without memory", more('\n[[recall]]\nway = "controllers"\n[[recall]]\nway = "program"\n'), 18,
     "recall[2].way",
     "no memory", "[memory]"),
    ("no manufacturer ID", more('\n[identity]\nmanufacturer = "7E"\n'), 16, "identity.manufacturer",
     "no manufacturer ID", "7D"),
    ("family without manufacturer", more("\n[identity]\nfamily = 1\n"), 15, "identity", "need a manufacturer", "Add"),
    ("a firmware brace", more('\n[identity]\nmanufacturer = "7D"\nfirmware = { text = "{5}" }\n'), 17,
     "identity.firmware.text", "stands for no byte", "{1}"),
    ("a low nibble", more('\n[address]\ndevice_rule = "nibble"\ndevice_base = 0x31\n'), 15, "address", "low nibble",
     ""),
    ("an index that is none", more(GROUP.replace('"op{n}"', '"op{m}"')), 18, "group[1].parameter[1].id", "index",
     "{n}"),
    ("an index outside a group", changed('id = "p"', 'id = "p{n}"'), 9, "parameter[1].id", "no group", "[[group]]"),
    ("an id without its index", more(GROUP.replace('"op{n}"', '"op"')), 18, "group[1].parameter[1].id", "same group",
     "op{n}"),
    ("a step too far", more(GROUP.replace("step = 1", "step = 36")), 22, "group[1].parameter[1].bindings[1]",
     "becomes 128", ""),
    ("an index upside down", more(GROUP.replace("[1, 4]", "[4, 1]")), 16, "group[1].repeat.n", "from 4 to 1", "lower"),
    ("too many rounds", more(GROUP.replace("[1, 4]", "[0, 65536]")), 16, "group[1].repeat", "65,537", "less often"),
    ("step outside a group", changed("cc = 74", "cc = 74, step = 1"), 13, "parameter[1].bindings[1].step",
     "outside a group", ""),
    ("a label of line breaks", changed('label = "P"', 'label = "P\\n"'), 10, "parameter[1].label", "cannot be shown",
     "one line"),
    ("bits of a cc", changed("cc = 74", "cc = 74, bits = 7"), 13, "parameter[1].bindings[1]", "“bits” has no meaning",
     ""),
    ("no such step index", more(GROUP.replace("step = 1", "step = { m = 1 }")), 22,
     "group[1].parameter[1].bindings[1].step.m",
     "no index “m”", "n"),
]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "line", "key", "said", "remedy"), [case[1:] for case in CASES], ids=[c[0] for c in CASES]
)
def test_fault(text: str, line: int, key: str, said: str, remedy: str) -> None:
    fault = one(text)
    assert (fault.line, fault.key) == (line, key), str(fault)
    assert said in fault.sentence
    assert remedy in fault.remedy
    assert fault.source == "test.toml"
    assert fault.sentence[-1] in ".?!"


@pytest.mark.parametrize("number", [0, 6, 32, 38, *range(96, 102), *range(120, 128)])
def test_reserved_controllers(number: int) -> None:
    # MIDI 1.0 Detailed Specification 4.2.1 p.13, 17, 20
    fault = one(changed("cc = 74", f"cc = {number}"))
    assert f"Controller {number} is reserved" in fault.sentence
    assert fault.key == "parameter[1].bindings[1].cc"


@pytest.mark.parametrize("pair", ["0", "6", "[74, 99]"])
def test_reserved_halves_of_a_pair(pair: str) -> None:
    found = faults(changed("cc = 74", f"cc14 = {pair}").replace("127", "16383"))
    assert all("reserved" in fault.sentence for fault in found)


def test_all_faults_in_one_pass() -> None:
    text = changed("cc = 74", "cc = 300, colour = 1") + ANOTHER.replace("cc = 75", "cc = 6").replace('"Q"', "5")
    text += '\n[[capture]]\nway = "dmup"\n\n[identity]\nmanufacturer = "FF"\n'
    found = faults(text)
    assert [fault.line for fault in found] == sorted(fault.line for fault in found)
    said = " ".join(fault.sentence for fault in found)
    for part in ("300", "“colour”", "“label”", "dmup", "no manufacturer ID"):
        assert part in said


def test_a_faulty_entry_does_not_hide_what_else_is_wrong_with_it() -> None:
    found = faults(changed("{ cc = 74 }", "{ cc = 6, colour = 3 }").replace("[0, 127]", "[0, 127]\ndefault = 1.5"))
    assert len(found) == 3
    assert {"Controller 6", "“colour”", "“default”"} == {
        part for part in ("Controller 6", "“colour”", "“default”") if any(part in fault.sentence for fault in found)
    }


def test_references_to_a_faulty_entry_are_not_faults() -> None:
    text = changed('label = "A"\n', "") + ANOTHER
    assert one(text).key == "section[1].label"


def test_the_error_itself_speaks() -> None:
    with pytest.raises(ChartFaults) as caught:
        loads(changed("cc = 74", "cc = 300") + "\nzzz = 1\n", "mine.toml")
    assert str(caught.value).startswith(
        "mine.toml, line 13, column 15 (parameter[1].bindings[1].cc): 300 is not possible"
    )
    assert "1 more fault" in str(caught.value)
    assert caught.value.hint


def test_the_request_for_controllers_is_no_parameters_controller() -> None:
    """Asking would turn the parameter, and what that parameter sends would look like the question."""
    text = """
id = "asker"
name = "Asker"
[[section]]
id = "a"
label = "A"
[[parameter]]
id = "a.level"
label = "Level"
section = "a"
range = [0, 127]
bindings = [{ cc = 80 }]
[[capture]]
way = "controllers"
request = [{ cc = 80, value = 127 }]
[[capture]]
way = "controllers"
request = [{ cc = 80, value = 127 }]
"""
    with pytest.raises(ChartFaults, match=r"and “a\.level” are both bound to controller 80"):
        loads(text)
    assert loads(text.replace("request = [{ cc = 80", "request = [{ cc = 81")).id == "asker"
