"""The same acts and lists for programs: JSON under ``/api``, described by OpenAPI 3.1."""

from fleet.pages.api.app import api, make_api

__all__ = ["api", "make_api"]
