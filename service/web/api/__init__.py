"""The API twin of the pages: the same objects that the commands print."""

from service.web.api import index, plan
from service.web.api.routes import router

routers = (router, index.router, plan.router)

__all__ = ["routers"]
