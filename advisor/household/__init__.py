"""The files of a household: read, checked, written anew.

Light to import: TOML models, units and zones are loaded when a folder is read.
"""

from advisor.household.reader import load
from advisor.household.report import CheckReport, check
from advisor.household.writer import InitAnswers, write_new

__all__ = ["CheckReport", "InitAnswers", "check", "load", "write_new"]
