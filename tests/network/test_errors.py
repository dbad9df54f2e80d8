"""What an unknown vault's error says."""

from network.errors import UnknownVaultError


def test_a_tag_that_several_vaults_share_is_explained():
    error = UnknownVaultError("A", ("A@38",), renamed=("A@38", "A@3B"))
    assert "several vaults are tagged 'A'" in error.remedy
    assert "A@38, A@3B" in error.remedy


def test_an_unknown_vault_is_said_with_what_names_it_and_with_those_there_are() -> None:
    error = UnknownVaultError("Q", (), named="plan.splice_at", there=("A", "B"))
    assert str(error) == "there is no vault 'Q', which plan.splice_at names -- there are A, B"
    many = UnknownVaultError("Q", (), there=tuple(f"MH-{k}" for k in range(100)))
    assert "MH-7" not in str(many)
    assert "tautline inspect lists the vaults" in str(many)
