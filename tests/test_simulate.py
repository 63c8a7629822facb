"""The public names of the library."""

import pkgutil

import simulate


def test_every_public_name_loads_and_none_is_that_of_a_module():
    modules = {module.name for module in pkgutil.iter_modules(simulate.__path__)}
    for name in simulate.__all__:
        assert getattr(simulate, name).__module__.startswith("simulate."), name
        assert name not in modules, f"simulate.{name} would be hidden once its module is imported"
    assert {"sweep", "run_lanes", "sensitivity", "pareto", "read_fleet", "by_group", "uniform"} <= set(simulate.__all__)
