"""The pages, a module a sheet."""

from fastapi import APIRouter

from service.web.pages import (
    add,
    builds,
    deals,
    health,
    home,
    lists,
    login,
    parts,
    plan,
    settings,
    shops,
    taking,
)


def routers() -> list[APIRouter]:
    """All page routers, in the order in which their paths are tried."""
    modules = (health, home, builds, plan, taking, lists, parts, add, deals, shops, settings, login)
    return [module.router for module in modules]
