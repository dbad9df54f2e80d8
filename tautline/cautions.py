"""What every result says to whoever acts on it."""

from __future__ import annotations

CAUTIONS = (
    "A computed tension is an estimate: friction in the ground differs from friction in a table. Watch the reading "
    "during the pull, and stop when it departs from what is expected.",
    "The cable maker's limits for tension, sidewall pressure and bending radius go before any default used here; "
    "so do the makers' instructions for grips, eyes, swivels, lubricant and pulling equipment.",
    "Local codes, the owner's standards and the judgement of a licensed engineer go before this document.",
    "A loaded rope can kill when it or its fittings part: keep people out of its line and out of every bight, "
    "use a swivel and a calibrated tension reading, and never exceed the rating of rope, fittings or anchors.",
    "Where gravity would run the cable ahead of the rope, the reel must be braked before the pull begins.",
    "Treat every cable in a vault as energised until it is tested and earthed. Test the air and ventilate before "
    "anyone enters, and follow the rules for confined spaces and traffic.",
    "Prove and clean each duct before pulling: a collapsed or silted duct, or a bend other than as drawn, makes "
    "every figure here wrong.",
)
