"""The kinds of channel, a module each: to add one is to add a file.

A module has `from_settings(settings, name, folder) -> Channel`. It raises InvalidFile for settings that it
cannot use, imports heavy libraries inside its functions, and keeps passwords and tokens in
`advisor.store.masking.Secret`.
"""
