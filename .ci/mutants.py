"""Mutation testing of one source at a time: change a sign, see whether a test notices.

    python .ci/mutants.py simulate/panel/checks/conductor.py tests/panel tests/test_boundaries.py [--most 60] [--seed 1]

Each mutant changes one comparison, one operator of arithmetic, one boolean or one number in a copy of the repository
and runs the named tests until the first that fails. Docstrings and annotations are left alone. What survives is printed
with its line: kill it with a test, or say why it is the same. Compiled sources are compiled anew for each mutant, so a
room of kernels takes hours.
"""

import argparse
import ast
import copy
import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
OTHER = {
    ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.And: ast.Or, ast.Or: ast.And,
    ast.In: ast.NotIn, ast.NotIn: ast.In, ast.Is: ast.IsNot, ast.IsNot: ast.Is,
}  # fmt: skip
HANGS_S = 300


def places(tree: ast.Module) -> list[tuple[int, str]]:
    """Number of each node that can be changed, in the order of the walk, and what is done to it."""
    skipped = {id(child) for node in ast.walk(tree) for child in untold(node)}
    found = []
    for k, node in enumerate(ast.walk(tree)):
        if id(node) in skipped:
            continue
        if isinstance(node, ast.Compare) and type(node.ops[0]) in OTHER:
            found.append((k, "compare"))
        elif isinstance(node, ast.BinOp) and type(node.op) in OTHER:
            found.append((k, "arithmetic"))
        elif isinstance(node, ast.BoolOp):
            found.append((k, "boolean"))
        elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            found.append((k, "not"))
        elif isinstance(node, ast.Constant) and type(node.value) in (int, float):
            found.append((k, "number"))
    return found


def untold(node: ast.AST) -> list[ast.AST]:
    """Nodes below one that no test can hear: annotations and docstrings."""
    parts = [getattr(node, name, None) for name in ("annotation", "returns")]
    return [child for part in parts if part is not None for child in ast.walk(part)]


def mutant(tree: ast.Module, number: int, kind: str) -> tuple[str, int, str]:
    """Source of one mutant, the line that it changes, and the change in words."""
    changed = copy.deepcopy(tree)
    node = list(ast.walk(changed))[number]
    before = ast.unparse(node)
    if kind == "compare":
        node.ops[0] = OTHER[type(node.ops[0])]()
    elif kind in ("arithmetic", "boolean"):
        node.op = OTHER[type(node.op)]()
    elif kind == "not":
        node.op = ast.UAdd()
        node.operand = ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])
    else:
        node.value += 1
    return ast.unparse(ast.fix_missing_locations(changed)), node.lineno, f"{before}  ->  {ast.unparse(node)}"


def passes(folder: Path, tests: list[str]) -> bool:
    command = [sys.executable, "-m", "pytest", "-q", "-x", "-n", "0", "-p", "no:cacheprovider", *tests]
    try:
        return subprocess.run(command, cwd=folder, capture_output=True, timeout=HANGS_S).returncode == 0
    except subprocess.TimeoutExpired:
        return False


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("source")
    parser.add_argument("tests", nargs="+")
    parser.add_argument("--most", type=int, default=300)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--minutes", type=float, default=1e9, help="begin no mutant after so long")
    asked = parser.parse_args()
    text = (ROOT / asked.source).read_text(encoding="utf-8")
    tree = ast.parse(text)
    every = places(tree)
    chosen = random.Random(asked.seed).sample(every, min(asked.most, len(every)))
    begun, survived, n = time.monotonic(), [], 0
    with tempfile.TemporaryDirectory() as away:
        folder = Path(away) / "keeplit"
        shutil.copytree(ROOT, folder, ignore=shutil.ignore_patterns(".git", ".venv", "__pycache__", "build"))
        if not passes(folder, asked.tests):
            sys.exit("the tests fail without a mutant")
        for number, kind in chosen:
            if time.monotonic() - begun > 60.0 * asked.minutes:
                break
            source, line, words = mutant(tree, number, kind)
            (folder / asked.source).write_text(source, encoding="utf-8")
            n += 1
            if passes(folder, asked.tests):
                survived.append((line, words))
                print(f"survived: {asked.source}:{line}: {words}", flush=True)
    score = 1.0 - len(survived) / n if n else float("nan")
    print(f"{asked.source}: {n} of {len(every)} mutants, {len(survived)} survived, {score:.0%} killed")


if __name__ == "__main__":
    main()
