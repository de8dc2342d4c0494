"""Wearers, facepieces, kit and testers: what can happen to them. Pure."""

from sealwright.programme.registry import KINDS

__all__ = ["KINDS"]
