"""Run every benchmark in this folder, one after the other, each in a process of its own."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def main() -> int:
    """Print each benchmark's table; return 1 if one could not run."""
    wanted = sys.argv[1:]
    failed = []
    for script in sorted(Path(__file__).parent.glob("bench_*.py")):
        name = script.stem.removeprefix("bench_")
        if wanted and name not in wanted:
            continue
        print(f"\n== {name}", flush=True)
        if subprocess.run([sys.executable, str(script)], check=False).returncode:
            failed.append(name)
    if failed:
        print(f"\ncould not run: {', '.join(failed)}")
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
