"""The page: what stands now, why, and what is on record, for a browser without scripts; each page has a JSON twin.

`create_app` makes the application from a `Desk`, or from the `Desks` of several households; `PageServer` runs it beside
the service.
"""

from advisor.web.app import create_app
from advisor.web.desk import Desk, Scene
from advisor.web.desks import Desks
from advisor.web.server import PageServer, open_desks, open_page

__all__ = ["Desk", "Desks", "PageServer", "Scene", "create_app", "open_desks", "open_page"]
