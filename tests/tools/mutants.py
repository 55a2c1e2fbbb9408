"""Break the core line by line and see which tests notice.

``python tests/tools/mutants.py parts.spring`` breaks ``suspkit/parts/spring.py``: all of it, or
with ``--sample 150`` so many places. ``--out FILE`` keeps verdicts and goes on from them,
``--again`` tries those that survived once more, ``--budget 2`` gives each mutant tests of so many
seconds only.

The mutants are mutmut's. It leaves alone what has a decorator, so in the broken copy a property is
spelled out as a method and ``property(method)``, and a compiled core runs as plain Python. Not
broken: what a ``raise`` says, and values outside functions (constants, limits of fields).

One process imports and collects; each mutant is a fork of it that runs the tests which reach the
broken function, quickest first, up to the first that fails. Where a test file calls the function
as it is imported, it is imported again in the fork.
"""

import argparse
import ast
import difflib
import gc
import importlib
import json
import os
import random
import resource
import shutil
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np
import pytest

HOME = Path(__file__).parents[2]
TESTS = {
    "parts.spring": "parts/test_spring laws/test_varied parts/test_wire parts/test_stack",
    "parts.stack": "parts/test_stack laws/test_varied vehicle/test_corner",
    "parts.damper": "parts/test_damper dynamics/test_damping",
    "parts.shock": "parts/test_shock vehicle/test_corner parts/test_damper",
    "parts.linkage": "parts/test_linkage vehicle/test_corner",
    "statics.settle": "statics/test_settle statics/test_solve laws/test_varied "
    "dynamics/test_bottoming",
    "statics.solve": "statics/test_solve",
    "dynamics.drive": "dynamics/test_drive dynamics/test_events",
    "core.settle_kernel": "statics/test_settle parts/test_shock vehicle/test_corner",
}
KERNEL = "core.settle_kernel"
LONG = "slow or whole_vehicle_agrees or coolprop"
LONG_IN_PYTHON = " or settle_agrees_with_free_body"
NOTHING = "def announce(function):\n    pass\n\n\ndef is_ready(function):\n    return True\n"


def spelled_out(source):
    """Its properties as methods without a decorator, its compiled functions as plain ones."""
    lines, tree = source.splitlines(), ast.parse(source)
    found = [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef) and n.decorator_list]
    for node in sorted(found, key=lambda n: n.lineno, reverse=True):
        kind = ast.unparse(node.decorator_list[0])
        name, top = node.name, node.lineno - 1
        if kind in ("property", "cached_property"):
            lines.insert(node.end_lineno, f"{' ' * node.col_offset}{name} = {kind}(_as_{name})")
            lines[top] = lines[top].replace(f"def {name}(", f"def _as_{name}(")
        if kind in ("property", "cached_property") or kind.startswith("njit"):
            del lines[node.decorator_list[0].lineno - 1]
    return "\n".join(lines) + "\n"


def broken(module, out):
    """Copy the package with every mutant of one module in it; what each of them changes."""
    from mutmut.mutation.file_mutation import mutate_file_contents

    shutil.copytree(HOME / "suspkit", out / "suspkit")
    for part in ("data", "notebooks"):
        (out / part).symlink_to(HOME / part)
    place = out / "suspkit" / f"{module.replace('.', '/')}.py"
    if module == KERNEL:
        os.environ["NUMBA_DISABLE_JIT"] = "1"
        (out / "suspkit" / "core" / "compiled.py").write_text(NOTHING, encoding="utf-8")
    made = mutate_file_contents(str(place), spelled_out(place.read_text(encoding="utf-8")))
    place.write_text(made.code, encoding="utf-8")
    lines, texts = made.code.splitlines(), {}
    for node in ast.walk(ast.parse(made.code)):
        if isinstance(node, ast.FunctionDef):
            texts[node.name] = lines[node.lineno : node.end_lineno]
    changes = {}
    for name in made.mutant_names:
        whole = texts[f"{function_of(name)}__mutmut_orig"]
        diff = list(difflib.unified_diff(whole, texts[name], lineterm="", n=0))[3:]
        changes[name] = [" ".join(line.split()) for line in diff]
    return changes


def function_of(mutant):
    return mutant.rpartition("__mutmut_")[0]


class Breaker:
    """Takes the place of pytest's run loop."""

    def __init__(self, asked, chosen, log):
        self.asked, self.chosen, self.log = asked, chosen, log
        self.failed, self.early = None, set()

    def pytest_configure(self, config):
        from hypothesis import Phase, settings

        # A failing example is enough; the smallest one is for people.
        phases = [Phase.explicit, Phase.generate]
        found = settings(settings.default, phases=phases, max_examples=25)
        settings.register_profile("mutants", found)
        settings.load_profile("mutants")
        os.environ["MUTANT_UNDER_TEST"] = "stats"

    def pytest_collection_finish(self):
        self.early = {hit.rpartition(".")[2] for hit in reached()}
        os.environ["MUTANT_UNDER_TEST"] = ""

    def pytest_runtest_logreport(self, report):
        if report.failed:
            self.failed = report.nodeid

    def pytest_runtestloop(self, session):
        import suspkit

        if self.asked.module != KERNEL:
            # What is compiled is loaded once, and no example is kept that a mutant would not see.
            vehicle = suspkit.load_vehicle(HOME / "data" / "unit7.toml")
            for model in ("full", "quarter"):
                suspkit.drive(vehicle, event=suspkit.events.drop(height=0.1), model=model)
        gc.freeze()
        rows = [self._clean(item) for item in session.items]
        running = {}
        for name in self.chosen:
            function = function_of(name)
            all_reach = function in self.early
            items = [i for i, (_, hits) in enumerate(rows) if all_reach or function in hits]
            items.sort(key=lambda i: rows[i][0])
            spent = np.cumsum([rows[i][0] for i in items])
            if self.asked.budget:
                items = items[: max(1, int(np.searchsorted(spent, self.asked.budget)))]
            limit = 10 + 10 * max((rows[i][0] for i in items), default=0)
            running[self._fork(name, [session.items[i] for i in items], int(limit))] = name
            if len(running) >= self.asked.children:
                self._reap(running)
        while running:
            self._reap(running)
        return True

    def _clean(self, item):
        """Seconds a test takes and the functions it reaches, unbroken.

        In a fork: a test before it may have left a result behind, and it would reach less.
        """
        read, write = os.pipe()
        if os.fork() == 0:
            os.environ["MUTANT_UNDER_TEST"] = "stats"
            reached().clear()
            self._run([item])
            spent = os.times()
            with os.fdopen(write, "w") as pipe:
                json.dump([spent.user + spent.system, list(reached()), self.failed], pipe)
            os._exit(0)
        os.close(write)
        with os.fdopen(read) as pipe:
            spent, hits, failed = json.load(pipe)
        os.wait()
        assert failed is None, f"{failed} fails before anything is broken"
        return spent, {hit.rpartition(".")[2] for hit in hits}

    def _fork(self, name, items, limit):
        child = os.fork()
        if child:
            return child
        os.environ["MUTANT_UNDER_TEST"] = f"suspkit.{self.asked.module}.{name}"
        resource.setrlimit(resource.RLIMIT_CPU, (limit, limit + 1))
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 1)
        os.dup2(nowhere, 2)
        try:
            if function_of(name) in self.early:
                for module in {item.module for item in items}:
                    importlib.reload(module)
            self._run(items)
        except BaseException as error:
            self.failed = repr(error)
        os._exit(self.failed is not None)

    def _run(self, items):
        for item in items:
            item.ihook.pytest_runtest_protocol(item=item, nextitem=None)
            if self.failed:
                break

    def _reap(self, running):
        child, status = os.wait()
        code = os.waitstatus_to_exitcode(status)
        verdict = "survived" if code == 0 else "timeout" if code < 0 else "killed"
        with open(self.log, "a", encoding="utf-8") as log:
            log.write(f"{running.pop(child)} {verdict}\n")


def reached():
    """Functions called since this was last cleared, as mutmut notes them down."""
    from mutmut.state import state

    return state()._stats


def read(log):
    """Verdict by mutant, the last one where there are more."""
    rows = log.read_text(encoding="utf-8").splitlines() if log.exists() else []
    return dict(row.split() for row in rows)


def main():
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("module", choices=TESTS)
    parser.add_argument("--sample", type=int, help="so many of the mutants, drawn by chance")
    parser.add_argument("--seed", type=int, default=1, help="of the sample")
    parser.add_argument("--budget", type=float, help="seconds of tests a mutant gets")
    parser.add_argument("--out", type=Path, help="file that keeps the verdicts")
    parser.add_argument("--again", action="store_true", help="try survivors once more")
    parser.add_argument("--children", type=int, default=2)
    asked = parser.parse_args()
    os.chdir(HOME)
    with tempfile.TemporaryDirectory() as scratch:
        scratch = Path(scratch).resolve()
        log = (asked.out or scratch / "verdicts").resolve()
        changes = broken(asked.module, scratch)
        sys.path.insert(0, str(scratch))
        names = list(changes)
        if asked.sample and asked.sample < len(names):
            names = sorted(random.Random(asked.seed).sample(names, asked.sample), key=names.index)
        known = read(log)
        open_still = {None, "survived"} if asked.again else {None}
        chosen = [name for name in names if known.get(name) in open_still]
        long = LONG + LONG_IN_PYTHON if asked.module == KERNEL else LONG
        options = ["-o", "addopts=", "-q", "--tb=line", "-k", f"not ({long})"]
        for plugin in ("cacheprovider", "xdist", "nbval", "benchmark"):
            options += ["-p", f"no:{plugin}"]
        if asked.module == KERNEL:  # compiled code divides by zero in silence
            options += ["-W", "ignore::RuntimeWarning"]
        tests = [f"tests/{name}.py" for name in TESTS[asked.module].split()]
        code = pytest.main([*options, *tests], plugins=[Breaker(asked, chosen, log)])
        verdicts = read(log)
    for name in names:
        if verdicts.get(name) == "survived":
            print(name.replace("__mutmut_", " "), *changes[name], sep="\n    ")
    counts = Counter(verdicts.get(name, "not tried") for name in names)
    print(f"{asked.module}: {len(names)} of {len(changes)} mutants:", dict(counts))
    return code


if __name__ == "__main__":
    sys.exit(main())
