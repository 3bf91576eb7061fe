"""The API twin of the pages: the same objects that the commands print."""

from service.web.api.routes import router

__all__ = ["router"]
