"""A browser without a screen that keeps its page's token."""

from __future__ import annotations

import re

from fastapi.testclient import TestClient

PASSWORD = "three quiet words"


class Visitor(TestClient):
    """A client that knows the token of the page it has loaded."""

    def load(self, path: str = "/") -> str:
        page = self.get(path)
        found = re.search(r'name="csrf-token" content="(\w+)"', page.text)
        assert found, page.text[:400]
        self.headers["x-csrf-token"] = found[1]
        return page.text

    def sign_in(self, name: str, password: str = PASSWORD) -> int:
        self.load("/sign-in")
        answer = self.post(
            "/sign-in", data={"name": name, "password": password}, follow_redirects=False
        )
        if answer.status_code == 303:
            self.load("/")
        return answer.status_code
