"""Every page of the demo held against the HTML standard: ``python -m tests.nu``.

The Nu Html Checker of the W3C and WHATWG (npm package ``vnu-jar``) is fetched into ``.test-nu``; it needs npm
and Java. Exit code 1 when a page is not valid.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tarfile
from pathlib import Path
from tempfile import TemporaryDirectory

from tests.pages.outside import demo_served, to_look_at

FOLDER = Path(__file__).resolve().parent.parent / ".test-nu"
JAR = FOLDER / "package" / "build" / "dist" / "vnu.jar"
VERSION = "26.9.27"


def checker() -> Path:
    """Answer where the checker lies, fetched if need be."""
    if not JAR.exists():
        FOLDER.mkdir(exist_ok=True)
        subprocess.run(["npm", "pack", f"vnu-jar@{VERSION}"], cwd=FOLDER, check=True, capture_output=True)
        with tarfile.open(next(FOLDER.glob("vnu-jar-*.tgz"))) as packed:
            packed.extractall(FOLDER, filter="data")
    return next(FOLDER.glob("**/vnu.jar"))


def main() -> int:
    """Check every page that the tables of addresses list; answer the exit code."""
    if not (shutil.which("java") and (JAR.exists() or shutil.which("npm"))):
        sys.stderr.write("The checker of HTML needs Java, and npm to be fetched.\n")
        return 2
    jar = checker()
    with TemporaryDirectory() as folder, demo_served() as pages:
        drawn = {}
        for number, (who, way) in enumerate(to_look_at()):
            file = Path(folder) / f"{number:03}.html"
            file.write_text(pages.as_(who).get(way.address).body, encoding="utf-8")
            drawn[file.as_uri()] = f"{way.address} ({who})"
        command = ["java", "-jar", str(jar), "--format", "json", "--exit-zero-always", folder]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
    found = json.loads(done.stderr)["messages"]
    for one in found:
        where = f"{drawn.get(one.get('url', ''), '?')}:{one.get('lastLine', '')}"
        sys.stdout.write(f"{where} {one['type']}: {one['message']}\n    {one.get('extract', '')}\n")
    sys.stdout.write(f"{len(drawn)} pages, {len(found)} remarks\n")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
