"""What can go wrong in the service; a class for each decision of the caller.

ServiceError
+-- InputError      the input cannot be used; carries every problem found   exit 2, HTTP 422
+-- NotFoundError   no such part, build, listing or supplier                exit 2, HTTP 404
+-- StoreError      the database cannot be used; says what to do            exit 2, HTTP 503
+-- DeliveryError   a channel did not take a notice; says whether to try again
"""

from __future__ import annotations

from collections.abc import Sequence


class ServiceError(Exception):
    """Something that a person has to know."""


class InputError(ServiceError):
    """The input cannot be used. `problems`: every one found, each with what to do."""

    def __init__(self, problems: str | Sequence[str]) -> None:
        self.problems = [problems] if isinstance(problems, str) else list(problems)
        super().__init__("\n".join(self.problems))


class NotFoundError(ServiceError):
    """No such thing in the catalogue."""


class StoreError(ServiceError):
    """The database cannot be used."""


class DeliveryError(ServiceError):
    """A channel did not take a notice. `retry`: whether another try can help."""

    def __init__(self, reason: str, *, retry: bool) -> None:
        super().__init__(reason)
        self.retry = retry
