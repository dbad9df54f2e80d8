from dataclasses import replace

from mechanics import Bore, Chain, Friction
from network.lay import _span
from network.route import Leg
from routeio.survey import Duct, DuctFields, DuctPart


def test_a_duct_that_changes_size_between_vaults_gives_each_segment_its_own_bore():
    chain = Chain([10.0, 20.0, 30.0], [0.0] * 3, [0.0] * 3, [0.0] * 3)
    duct = Duct("d", chain, (0.0, 0.0, 0.0), 0.0, (60.0, 0.0, 0.0), "A", "B", ())
    parts = (DuctPart(1, DuctFields(size="4"), duct.where), DuctPart(3, DuctFields(size="6"), duct.where))
    changing = replace(duct, parts=parts)

    def bore_of(one: Duct) -> Bore:
        return Bore(0.1, Friction(0.2), label=str(one.fields.size))

    legs = [_span(Leg(changing, forward=way), bore_of) for way in (True, False)]
    assert [b.label for b in legs[0].bores] == ["4", "6", "6"]
    assert [b.label for b in legs[1].bores] == ["6", "6", "4"]
