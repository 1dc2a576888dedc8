"""Rig and poses to strengths, over many frames at once, with numpy; loaded only where it is used."""

from plica.evaluate.curves import curve_values
from plica.evaluate.evaluator import Evaluator
from plica.evaluate.poses import JointPlacement, Poses, SparsePose, poses_from, rest_poses

__all__ = ["Evaluator", "JointPlacement", "Poses", "SparsePose", "curve_values", "poses_from", "rest_poses"]
