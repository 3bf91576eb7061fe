"""What the pages show: each answer is one read transaction and plain JSON values."""

from service.flows.views.builds import build_sheet, versions
from service.flows.views.parts import kinds, names, part, part_chart, part_names, parts
from service.flows.views.series import build_series
from service.flows.views.shops import supplier, suppliers
from service.flows.views.today import today
from service.flows.views.workshop import workshop

__all__ = [
    "build_series",
    "build_sheet",
    "kinds",
    "names",
    "part",
    "part_chart",
    "part_names",
    "parts",
    "supplier",
    "suppliers",
    "today",
    "versions",
    "workshop",
]
