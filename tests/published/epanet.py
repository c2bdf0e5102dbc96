"""The EPANET engine that wntr carries, for one small network, solved again for each set of values.

The engine is called itself: importing wntr whole costs more time than all these tests.
"""

import ctypes
from importlib.util import find_spec
from pathlib import Path

# Codes of the EPANET toolkit (EN_ constants).
ELEVATION, DEMAND, EMITTER, PRESSURE = 0, 1, 3, 11
DIAMETER, LENGTH, ROUGHNESS, FLOW = 0, 1, 2, 8
# A reservoir, one pipe, one junction: pressures in psi, flows in gpm, diameters in in.
NETWORK = """[JUNCTIONS]
 J 0 0
[RESERVOIRS]
 R 100
[PIPES]
 P R J 100 4 120 0 Open
[EMITTERS]
 J 0
[OPTIONS]
 Units GPM
 Headloss H-W
 Accuracy 0.00001
 Trials 200
 Emitter Exponent 0.5
[TIMES]
 Duration 0
[REPORT]
 Status No
[END]
"""
FEET_PER_PSI = 1.0 / 0.4333
"""EPANET's own factor."""


class Epanet:
    """A reservoir that feeds one junction by one pipe; `solved` gives flow and pressure."""

    def __init__(self, folder: Path) -> None:
        package = Path(find_spec("wntr").submodule_search_locations[0])
        self._library = ctypes.CDLL(str(package / "epanet/libepanet/linux-x64/libepanet22.so"))
        given = folder / "small.inp"
        given.write_text(NETWORK, encoding="ascii")
        files = (str(given), str(folder / "small.rpt"), str(folder / "small.bin"))
        self._call("ENopen", *(name.encode() for name in files))
        self._call("ENopenH")

    def close(self) -> None:
        self._call("ENcloseH")
        self._call("ENclose")

    def solved(
        self, *, head_ft, demand_gpm=0.0, emitter=0.0, length_ft=100.0, bore_in=4.0, c_factor=120.0
    ):
        """Return flow through the pipe, gpm, and pressure at the junction, psi."""
        for code, value in ((LENGTH, length_ft), (DIAMETER, bore_in), (ROUGHNESS, c_factor)):
            self._set("ENsetlinkvalue", 1, code, value)
        for node, code, value in (
            (2, ELEVATION, head_ft),
            (1, DEMAND, demand_gpm),
            (1, EMITTER, emitter),
        ):
            self._set("ENsetnodevalue", node, code, value)
        self._call("ENinitH", 10)
        clock = ctypes.c_long()
        self._call("ENrunH", ctypes.byref(clock))
        return self._get("ENgetlinkvalue", 1, FLOW), self._get("ENgetnodevalue", 1, PRESSURE)

    def _set(self, name, index, code, value):
        self._call(name, index, code, ctypes.c_float(value))

    def _get(self, name, index, code):
        value = ctypes.c_float()
        self._call(name, index, code, ctypes.byref(value))
        return value.value

    def _call(self, name, *arguments):
        error = getattr(self._library, name)(*arguments)
        # Codes under 100 are warnings, such as negative pressure.
        assert error < 100, f"{name}: {error}"
