"""The pages: made of a room, and nothing happens before somebody asks for one."""

from fleet.pages.app import make_app

__all__ = ["make_app"]
