"""Reads a mail as a mail program would and says in JSON what it holds."""

import email
import email.policy
import html.parser
import json
import struct
import sys


class Page(html.parser.HTMLParser):
    """The words of a page in order, each link's address after its words."""

    def __init__(self):
        super().__init__()
        self.words, self.links, self.pictures, self.elsewhere = [], [], [], []
        self.is_hidden, self.link = False, None
        self.caption, self.is_caption = None, False

    def handle_starttag(self, tag, attributes):
        attributes = dict(attributes)
        if tag in ("title", "style"):
            self.is_hidden = True
        if attributes.get("class") == "caption":
            self.is_caption = True
        if tag == "a":
            self.link = attributes["href"]
            self.links.append(self.link)
        if tag == "img":
            self.pictures.append(attributes)
        for name in ("src", "background", "data"):
            if not attributes.get(name, "cid:").startswith("cid:"):
                self.elsewhere.append(attributes[name])
        if tag in ("link", "script", "iframe", "object"):
            self.elsewhere.append(tag)

    def handle_endtag(self, tag):
        if tag in ("title", "style"):
            self.is_hidden = False
        if tag == "p":
            self.is_caption = False
        if tag == "a":
            self.words[-1] += ":"
            self.words.append(self.link)

    def handle_data(self, text):
        if self.is_caption:
            self.caption = text
        elif not self.is_hidden:
            self.words += text.split()


message = email.message_from_string(
    sys.stdin.read().replace("\r\n", "\n"), policy=email.policy.default
)
parts = {part.get_content_type(): part for part in message.walk()}
page = Page()
page.feed(parts["text/html"].get_content())
picture = parts.get("image/png")
png = picture.get_content() if picture else b""
identity = picture["Content-ID"].strip("<>") if picture else None
json.dump(
    {
        "kinds": [part.get_content_type() for part in message.walk()],
        "plain": parts["text/plain"].get_content(),
        "page": " ".join(page.words),
        "links": page.links,
        "elsewhere": page.elsewhere,
        "caption": page.caption,
        "alternative": page.pictures[0]["alt"] if page.pictures else None,
        "picture_is_there": [one["src"] for one in page.pictures] == [f"cid:{identity}"],
        "size": list(struct.unpack(">II", png[16:24])) if png[:8] == b"\x89PNG\r\n\x1a\n" else None,
    },
    sys.stdout,
)
