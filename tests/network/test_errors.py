"""What an unknown vault's error says."""

from network.errors import UnknownVaultError


def test_a_tag_that_several_vaults_share_is_explained():
    error = UnknownVaultError("A", ("A@38",), renamed=("A@38", "A@3B"))
    assert "several vaults are tagged 'A'" in error.remedy
    assert "A@38, A@3B" in error.remedy
