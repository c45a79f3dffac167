"""The files of a household: read, checked, written anew.

Light to import: TOML models, units and zones are loaded when a folder is read.
"""

from advisor.household.reader import load

__all__ = ["load"]
