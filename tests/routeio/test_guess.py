"""Guesses of fields by their names."""

from routeio.guess import fields_like


def test_where_splicing_feeding_and_pulling_are_allowed():
    found = fields_like(("splice", "feed", "pull"), ("TAG", "SPLICE", "FEED_OK", "Pull"))
    assert {(g.what, g.name) for g in found} == {("splice", "SPLICE"), ("feed", "FEED_OK"), ("pull", "Pull")}
