import time
from pathlib import Path
import pytest
from django.test import Client
from nursery.core.actor import Role
from tests import factories as make

@pytest.mark.django_db(transaction=True)
def test_page(live_server, page):
    client = Client()
    client.force_login(make.person(Role.VIEWER))
    session = {"name": "sessionid", "value": client.cookies["sessionid"].value}
    page.context.add_cookies([{**session, "url": live_server.url}])
    out=[]
    page.on("console", lambda m: out.append(m.text[:500]))
    page.goto(f"{live_server.url}/api/docs/")
    page.wait_for_timeout(9000)
    Path("/tmp/hp/out.txt").write_text("\n".join(out)+"\n----\n"+page.inner_text("body"))
