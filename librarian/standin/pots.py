"""The physical controls: where they stand is not what sounds, and each takes over in its own way."""

from __future__ import annotations

from collections.abc import Mapping

from librarian.chart import Parameter


def sound_after_turn(parameter: Parameter, pot_before: int, pot_now: int, sound: int) -> int:
    """What sounds after a pot went from `pot_before` to `pot_now` while `sound` was sounding (raw values).

    jumps (and unknown, which most instruments without a rule do): the pot's position. waits: the pot takes over
    once it stands on, reaches or passes the sounding value. scaled: the sound moves by the same share of the way
    that is left to the end the pot is turned to.
    """
    if parameter.takeover == "waits":
        passed = min(pot_before, pot_now) <= sound <= max(pot_before, pot_now)
        return pot_now if passed else sound
    if parameter.takeover == "scaled" and pot_before != sound:
        end = parameter.high if pot_now > pot_before else parameter.low
        left = end - pot_before
        if left == 0:
            return end
        return round(sound + (end - sound) * (pot_now - pot_before) / left)
    return pot_now


def checked(parameters: Mapping[str, Parameter], name: str, value: int) -> Parameter:
    """The parameter `name`, if there is one and `value` is in its range; ValueError says what is wrong otherwise."""
    parameter = parameters.get(name)
    if parameter is None:
        raise ValueError(f"there is no control “{name}”")
    if not parameter.low <= value <= parameter.high:
        raise ValueError(f"{name} goes from {parameter.low} to {parameter.high}, not to {value}")
    return parameter
