"""A PHREEQC database written from our own constants, so that two solvers meet on the same chemistry."""

from phreeqpython.viphreeqc import VIPhreeqc

from app.reference.acid_base import acid_base_table

HEAD = """SOLUTION_MASTER_SPECIES
E e- 0 0 0
H H+ -1 H 1.008
H(0) H2 0 H
H(1) H+ -1 0
O H2O 0 O 15.999
O(0) O2 0 O
O(-2) H2O 0 0
"""
SPECIES = """SOLUTION_SPECIES
H+ = H+
    log_k 0
e- = e-
    log_k 0
H2O = H2O
    log_k 0
H2O = OH- + H+
    log_k -13.997
2 H2O = O2 + 4 H+ + 4 e-
    log_k -86.08
    -gamma 1 0
2 H+ + 2 e- = H2
    log_k -3.15
    -gamma 1 0
"""


def signed(charge):
    return "" if charge == 0 else f"{charge:+d}"


def element(index):
    """Name the n-th element so that PHREEQC takes it: a capital and small letters."""
    return "Q" + chr(97 + index // 26) + chr(97 + index % 26)


class Phreeqc:
    """PHREEQC with every family and strong ion of the acid-base table as an element of its own (25 C)."""

    def __init__(self):
        table = acid_base_table()
        self.families = {key: element(n) for n, key in enumerate(table.families)}
        ions = {ion for row in table.by_species.values() for ion, _ in row.substance.ions}
        ordered = sorted(ions, key=lambda ion: ion.name)
        self.ions = {ion.name: element(n + len(self.families)) for n, ion in enumerate(ordered)}
        masters, species = HEAD, SPECIES
        for key, name in self.families.items():
            family = table.families[key]
            charge = family.charge - len(family.pkas)
            masters += f"{name} {name}{signed(charge)} 0 1 1\n"
            species += self._forms(name, charge, family.pkas)
        for ion in ordered:
            name = self.ions[ion.name]
            masters += f"{name} {name}{signed(ion.charge)} 0 1 1\n"
            species += f"{name}{signed(ion.charge)} = {name}{signed(ion.charge)}\n    log_k 0\n"
        self.engine = VIPhreeqc()
        self.engine.load_database_string(masters + species + "END\n")

    @staticmethod
    def _forms(name, charge, pkas):
        base = f"{name}{signed(charge)}"
        text = f"{base} = {base}\n    log_k 0\n" + ("    -gamma 1 0\n" if charge == 0 else "")
        for taken in range(1, len(pkas) + 1):
            constant = sum(pkas[len(pkas) - taken :])
            form = f"H{taken if taken > 1 else ''}{name}{signed(charge + taken)}"
            text += f"{base} + {taken} H+ = {form}\n    log_k {constant:.6f}\n"
            text += "    -gamma 1 0\n" if charge + taken == 0 else ""
        return text

    def solutions(self, rows):
        """Give the pH of several solutions; each is {family key or ion name: mol per kg of water}."""
        text = "SELECTED_OUTPUT\n    -reset false\n    -pH true\n"
        for number, row in enumerate(rows, start=1):
            text += f"SOLUTION {number}\n    units mol/kgw\n    temp 25\n    pH 7 charge\n    water 1\n"
            for key, molality in row.items():
                text += f"    {self.families.get(key) or self.ions[key]} {molality:.12g}\n"
        self.engine.run_string(text + "END\n")
        table = self.engine.get_selected_output_array()
        return [row[0] for row in table[1:]]
