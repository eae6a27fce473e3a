"""Plan a touring caravan hire on sealed roads, with every store emptied, filled and charged in time.

From Python: `Region.load` or `Region.build`, then `plan_trip`. `import tripplan` alone loads nothing; a name loads what it needs.
"""

TYPE_CHECKING = False  # known to type checkers; importing it would load a module
if TYPE_CHECKING:
    from tripplan.model.errors import BadInputError, NoPlanError
    from tripplan.notebook import Plan, Region, plan_trip
    from tripplan.pipeline import sample_folder

__all__ = ["BadInputError", "NoPlanError", "Plan", "Region", "__version__", "plan_trip", "sample_folder"]

__version__ = "0.1.0"

_HOMES = {
    "BadInputError": "tripplan.model.errors", "NoPlanError": "tripplan.model.errors", "Plan": "tripplan.notebook", "Region": "tripplan.notebook",
    "plan_trip": "tripplan.notebook", "sample_folder": "tripplan.pipeline",
}  # fmt: skip

if not TYPE_CHECKING:

    def __getattr__(name):  # hidden from type checkers, so that they refuse names that are not there
        """Load a name of the front door when it is first asked for."""
        if name not in _HOMES:
            raise AttributeError(f"module 'tripplan' has no attribute {name!r}")
        from importlib import import_module

        return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
