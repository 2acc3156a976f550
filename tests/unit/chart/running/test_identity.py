"""Who answers, and which firmware a chart describes."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from librarian.chart.identity import IdentityRule, build_identity, firmware_text, pieces, version_of
from librarian.chart.language.head import IdentityTable
from librarian.wire.universal import IdentityReply


def reply(**changes: object) -> IdentityReply:
    keys: dict[str, object] = {"device": 16, "manufacturer": b"\x7d", "family": 130, "member": 1}
    return IdentityReply(**{**keys, "revision": bytes((0, 0, 2, 1)), **changes})  # type: ignore[arg-type]


RULE = build_identity(
    IdentityTable.model_validate(
        {
            "manufacturer": "7D",
            "family": 130,
            "member": 1,
            "firmware": {"text": "{3}.{4}", "from": "2.0", "before": "3.0"},
        }
    )
)


@pytest.mark.parametrize(
    ("changes", "fit"),
    [
        ({}, "fits"),
        ({"revision": bytes((0, 0, 2, 0))}, "fits"),
        ({"revision": bytes((0, 0, 2, 99))}, "fits"),
        ({"revision": bytes((0, 0, 3, 0))}, "other firmware"),
        ({"revision": bytes((0, 0, 1, 9))}, "other firmware"),
        ({"manufacturer": b"\x00\x20\x7f"}, "other instrument"),
        ({"family": 131}, "other instrument"),
        ({"member": 2, "revision": bytes((0, 0, 3, 0))}, "other instrument"),
        ({"device": 3, "surplus": b"\x01"}, "fits"),
    ],
)
def test_fit(changes: dict[str, object], fit: str) -> None:
    assert RULE.fits(reply(**changes)) == fit


def test_nothing_known_fits_everything() -> None:
    assert IdentityRule().fits(reply(family=1, member=2)) == "fits"


@pytest.mark.parametrize(
    ("template", "text"),
    [
        ("{1}.{2}.{3}.{4}", "0.49.2.10"),
        ("{3}.{4:02}", "2.10"),
        ("{3}.{4:03}", "2.010"),
        ("v{2:char}{4:hex}", "v10A"),
        ("plain", "plain"),
    ],
)
def test_templates(template: str, text: str) -> None:
    assert firmware_text(template, bytes((0, 0x31, 2, 10))) == text


@pytest.mark.parametrize("template", ["{5}", "{0}", "{1", "1}", "{1:99999999}", "{1.real}", "{}", "{1!r}"])
def test_templates_that_mean_nothing(template: str) -> None:
    assert pieces(template) is None


def test_versions_are_ordered_as_people_order_them() -> None:
    rising = ["0.9", "1", "1.0.1", "1.2", "1.2b", "1.2c", "1.10", "2.0", "2.1", "10"]
    assert sorted(rising, key=version_of) == rising
    assert version_of("2") == version_of("2.0") == version_of(" 2.0.0 ")


def test_only_these_firmwares() -> None:
    rule = IdentityRule(template="{3}.{4}", only=("2.1", "2.4"))
    assert [rule.fits_firmware(text) for text in ("2.1", "2.2", "2.4")] == [True, False, True]
    assert rule.firmware(rule.example_revision()) == "2.1"


def test_an_example_revision_fits() -> None:
    assert RULE.firmware(RULE.example_revision()) == "2.0"
    letters = IdentityRule(template="{3:char}.{4:char}", first="2.5", before="3.0")
    assert letters.fits_firmware(letters.firmware(letters.example_revision()))


@given(st.text(max_size=30), st.binary(min_size=4, max_size=4))
def test_any_template_is_text_or_refused(template: str, revision: bytes) -> None:
    if pieces(template) is not None:
        assert len(firmware_text(template, revision)) <= len(template) + 12
    version_of(template)
