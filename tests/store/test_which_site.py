"""A database of several nurseries: a server is told which one it is for, and guesses none."""

from pathlib import Path

import pytest
from click.testing import CliRunner

from lathhouse.app import create_app
from lathhouse.cli import main
from lathhouse.domain.instants import to_text
from lathhouse.errors import WhichSite
from lathhouse.settings import Settings
from lathhouse.store.models import db
from lathhouse.store.sites import open_site
from tests.attack.two_sites import settle_beside
from tests.server import Nursery, close_nursery


def test_of_two_nurseries_in_one_database_the_one_that_is_named_is_served(
    nursery: Nursery, monkeypatch: pytest.MonkeyPatch
):
    other = settle_beside(nursery)
    settings = nursery.app.config["LATHHOUSE"]
    close_nursery(nursery)
    with pytest.raises(WhichSite) as refused:
        create_app(settings)
    both = f"This database holds 2 nurseries: {nursery.site}, {other.site}."
    how = "Name it: --site ID, or LATHHOUSE_SITE."
    assert refused.value.detail == f"{both} A server is for one of them. {how}"
    settings.site = other.site
    served = Nursery(create_app(settings), nursery.clock)
    assert served.site == other.site
    assert {row["label"] for row in served.rows("lots")} == {"Quittenhof 1"}
    with served.app.app_context(), pytest.raises(WhichSite) as refused:
        open_site(to_text(nursery.clock.ms), "elsewhere")
    assert refused.value.detail == f"{both} elsewhere is none of them. {how}"
    with served.app.app_context():
        db.engine.dispose()


def test_a_command_says_it_in_words_and_a_lone_nursery_needs_no_name(tmp_path: Path):
    app = create_app(Settings(data=tmp_path))
    asked = ["tokens", "list", "--data", str(tmp_path)]
    assert CliRunner().invoke(main, asked).exit_code == 0
    done = CliRunner().invoke(main, asked, env={"LATHHOUSE_SITE": "elsewhere"})
    assert done.exit_code == 1
    assert f"holds 1 nursery: {app.config['SITE_ID']}. elsewhere is not it." in done.output
    with app.app_context():
        db.engine.dispose()
