"""A headless Chromium for tests: sizes of pages in frames of a given width, the page as the browser reads it, and as PDF.

The pages hold no script; the one that measures stands in a harness of the test's own, around the page in a frame.
"""

from __future__ import annotations

import json
import shutil
import subprocess
from html import escape, unescape
from pathlib import Path

import pytest

FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--hide-scrollbars", "--allow-file-access-from-files",
)  # fmt: skip
HARNESS = """<!doctype html><meta charset="utf-8"><body>{frames}<script>
addEventListener("load", () => {{
  const measured = [...document.querySelectorAll("iframe")].map(frame => {{
    const page = frame.contentDocument;
    const root = page.documentElement, edge = root.clientWidth + 0.5;
    const inScroller = element => element.parentElement && element.closest(".wide, .vh") !== null;
    const shown = [...page.body.querySelectorAll("*")].filter(one => one.getClientRects().length && !inScroller(one));
    return {{
      width: root.clientWidth, scroll: root.scrollWidth, scripts: page.scripts.length,
      beyond: shown.filter(one => !one.closest("svg") && one.getBoundingClientRect().right > edge)
        .map(one => one.outerHTML.slice(0, 80)),
      clipped: [...page.querySelectorAll("svg")].filter(svg => svg.getClientRects().length).flatMap(svg => {{
        const box = svg.getBoundingClientRect();
        return [...svg.querySelectorAll("text")].filter(text => {{
          const own = text.getBoundingClientRect();
          return own.left < box.left - 1 || own.right > box.right + 1;
        }}).map(text => text.textContent);
      }}),
      h1: page.querySelector("h1").textContent, paper: getComputedStyle(root).backgroundColor,
    }};
  }});
  document.body.dataset.measured = JSON.stringify(measured);
}});
</script>"""


def chromium() -> str:
    """Path of the browser; skips the test where there is none."""
    found = shutil.which("chromium") or shutil.which("chromium-browser")
    if found is None:
        pytest.skip("no chromium")
    return found


def run(folder: Path, *arguments: str) -> str:
    """Run Chromium once, with a profile of its own, and return its standard output."""
    profile = folder / "profile"
    command = [chromium(), *FLAGS, f"--user-data-dir={profile}", *arguments]
    done = subprocess.run(command, capture_output=True, text=True, timeout=120, check=True)
    shutil.rmtree(profile, ignore_errors=True)
    return done.stdout


def measured(folder: Path, pages: list[tuple[Path, int]]) -> list[dict[str, object]]:
    """What the browser finds of each (page, width): widths, elements and texts beyond the edge, scripts, heading."""
    frames = "".join(
        f'<iframe src="{escape(page.resolve().as_uri())}" style="width:{width}px;height:2000px;border:0"></iframe>'
        for page, width in pages
    )
    harness = folder / "harness.html"
    harness.write_text(HARNESS.format(frames=frames), encoding="utf-8")
    dumped = run(folder, "--window-size=1400,900", "--virtual-time-budget=10000", "--dump-dom", harness.as_uri())
    assert "data-measured=" in dumped, dumped[:500]
    text = dumped.split('data-measured="', 1)[1].split('"', 1)[0]
    found: list[dict[str, object]] = json.loads(unescape(text))
    return found


def printed(folder: Path, page: Path) -> list[str]:
    """The text of each sheet of A4 that the page prints as."""
    if shutil.which("pdftotext") is None:
        pytest.skip("no pdftotext (poppler-utils)")
    pdf = folder / "page.pdf"
    run(folder, "--no-pdf-header-footer", f"--print-to-pdf={pdf}", page.resolve().as_uri())
    done = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, text=True, timeout=60, check=True)
    return done.stdout.split("\f")[:-1]
