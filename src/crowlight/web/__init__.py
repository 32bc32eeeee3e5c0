"""The pages in the browser, for this machine alone."""

from crowlight.web.app import create_app

__all__ = ["create_app"]
