"""Many sites at once: a table of sites in, a table of days out.

`sites_file` reads the sites, `cells` finds each one's weather, `results` turns scores into rows, `journal` keeps
what is done so that a run can be taken up again, `run` does it all.
"""
