"""The API twin of the pages: the same objects that the commands print."""

from service.web.api import index
from service.web.api.routes import router

routers = (router, index.router)

__all__ = ["routers"]
