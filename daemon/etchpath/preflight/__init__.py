"""What a file will do before it does it: findings in plain words, a verdict, and the figures."""

from etchpath.preflight.inspection import Inspection, inspect
from etchpath.preflight.report import Report

__all__ = ["Inspection", "Report", "inspect"]
