"""Poses made for single readings, put together into as few as may be."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from plica.evaluate.poses import JointPlacement, SparsePose


@dataclass(frozen=True)
class Setting:
    """A pose made for one reading, and the joints that must not be touched beside it.

    `instead` is nearly the same, for use where this hangs on the last bits.
    """

    pose: SparsePose
    needs: frozenset[str]
    instead: Setting | None = None


def joined(pack: Iterable[Setting]) -> SparsePose:
    """The settings of a pack in one pose."""
    joints: dict[str, JointPlacement] = {}
    controls: dict[str, float] = {}
    for setting in pack:
        joints.update(setting.pose.joints)
        controls.update(setting.pose.controls)
    return SparsePose(joints, controls)


class Pack:
    """Settings of different joints that go into one pose."""

    def __init__(self) -> None:
        self.settings: list[Setting] = []
        self._touched: set[str] = set()
        self._needed: set[str] = set()

    def takes(self, touched: frozenset[str], needs: frozenset[str]) -> bool:
        """Whether a setting neither spoils those that are here already nor is spoiled by them."""
        taken = self._touched
        return touched.isdisjoint(taken) and touched.isdisjoint(self._needed) and needs.isdisjoint(taken)

    def add(self, setting: Setting, touched: frozenset[str]) -> None:
        """Puts it in."""
        self.settings.append(setting)
        self._touched |= touched
        self._needed |= setting.needs

    def add_if_fit(self, setting: Setting) -> None:
        """Puts it in where it spoils nothing."""
        touched = touched_by(setting)
        if self.takes(touched, setting.needs):
            self.add(setting, touched)


def touched_by(setting: Setting) -> frozenset[str]:
    """The joints that a setting moves, and its controls."""
    return frozenset((*setting.pose.joints, *(f"control {name}" for name in setting.pose.controls)))


def packed(settings: Iterable[Setting]) -> list[list[Setting]]:
    """Settings for as few poses as first fit makes, none of which spoils what a setting in it is made for."""
    packs: list[Pack] = []
    # What did not fit into a pack once never will: packs only grow.
    tried: dict[tuple[frozenset[str], frozenset[str]], int] = {}
    for setting in settings:
        touched = touched_by(setting)
        at = tried.get((touched, setting.needs), 0)
        while at < len(packs) and not packs[at].takes(touched, setting.needs):
            at += 1
        if at == len(packs):
            packs.append(Pack())
        tried[touched, setting.needs] = at
        packs[at].add(setting, touched)
    return [pack.settings for pack in packs]
