from tautline.deliver.labels import Label, Plan


def overlap(a, b):
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def test_labels_that_are_clear_do_not_cover_each_other():
    plan = Plan(2.0)
    placed = [plan.put(Label(8.0 * k, 0.0, ("MH-100",), 9.0, 10.0)) for k in range(40)]
    clear = [p.box for p in placed if p.clear]
    assert 10 < len(clear) < 40
    assert not any(overlap(a, b) for k, a in enumerate(clear) for b in clear[:k])


def test_labels_keep_off_the_route_and_marks():
    plan = Plan(1.0)
    plan.avoid([(0.0, 0.0), (200.0, 0.0)])
    plan.block((90.0, 2.0, 110.0, 30.0))
    box = plan.put(Label(100.0, 0.0, ("MH-1",), 9.0, 8.0)).box
    assert not overlap(box, (90.0, 2.0, 110.0, 30.0))
    assert box[1] > 0.0 or box[3] < 0.0


def test_labels_stay_within_the_edges():
    plan = Plan(1.0, (0.0, 0.0, 100.0, 100.0))
    placed = plan.put(Label(98.0, 50.0, ("MH-1",), 9.0, 8.0))
    assert placed.clear
    assert placed.box[2] <= 100.0
    assert not plan.put(Label(50.0, 50.0, ("M" * 40,), 9.0, 8.0)).clear


def test_a_needed_label_is_placed_even_without_room():
    plan = Plan(1.0)
    plan.block((-500.0, -500.0, 500.0, 500.0))
    placed = plan.put(Label(0.0, 0.0, ("MH-1",), 9.0, 8.0, needed=True))
    assert not placed.clear
    assert placed.box[2] > placed.box[0]
