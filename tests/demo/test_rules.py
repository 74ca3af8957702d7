"""Each rule of rules.py finds the wrong that it is for."""

import unittest

from make_demo import cuts_of, program
from rules import faults
from sheets import SHEETS

HINGES = SHEETS[0]


def said(sheet, cuts=None):
    return "\n".join(faults(sheet, cuts or cuts_of(sheet)))


class RulesFind(unittest.TestCase):
    def test_nothing_on_the_sheets_as_drawn(self):
        for sheet in SHEETS:
            self.assertEqual(said(sheet), "", sheet["file"])

    def test_a_clamp_on_part_5(self):
        self.assertIn("of the clamp", said(HINGES | {"clamp": (250, 185)}))

    def test_a_part_at_the_edge(self):
        self.assertIn("from the sheet's edge", said(HINGES | {"sheet": (483, 400)}))

    def test_a_count_or_length_that_is_not_the_orders(self):
        self.assertIn("36 cuts, the order says 35", said(HINGES | {"cuts": 35}))
        self.assertIn("within 2 %", said(HINGES | {"cut_mm": 4330}))

    def test_a_traverse_over_a_free_part(self):
        cuts = cuts_of(HINGES)
        near_row_first = cuts[:30] + cuts[33:] + cuts[30:33]
        self.assertIn("passes over the part", said(HINGES, near_row_first))

    def test_a_pierce_in_or_beside_a_kerf(self):
        cuts = cuts_of(HINGES)
        twice = cuts[:1] + cuts[:1] + cuts[2:]
        self.assertIn("from the kerf of cut 1", said(HINGES, twice))

    def test_an_outline_that_runs_on(self):
        cuts = cuts_of(HINGES)
        x, y = cuts[-1]["path"].end
        cuts[-1]["path"].line((x - 5, y))
        self.assertIn("past its start", said(HINGES, cuts))

    def test_the_hinge_plates_first_hole_is_as_worked_out_by_hand(self):
        # 13 mm hole at (20, 20) of part 1 (its zero at 20, 30), kerf 1.45: radius 6.5 - 0.725.
        wanted = "G00 X40.8 Y50\nM03\nG01 X45.775\nG03 X45.775 Y50 I-5.775 J0\nM05\n"
        self.assertIn(wanted, program(HINGES))


if __name__ == "__main__":
    unittest.main()
