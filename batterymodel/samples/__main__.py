"""``python -m batterymodel.samples`` writes the sample data anew."""

from __future__ import annotations

from batterymodel.samples.connections import main

if __name__ == "__main__":
    raise SystemExit(main())
