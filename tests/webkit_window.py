"""A window of WebKitGTK that a WebDriver can drive, and that keeps what it stored.

WebKit's own small browser throws everything away when it is driven, so that no restart could be
tried with it. This one is the same library with a folder for its data; it is run as a program, by
the driver, which finds it through its environment. Only the C library is called: no bindings.
"""

import ctypes
import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

WIDTH, HEIGHT = 360, 740
COOKIES_IN_SQLITE = 1
GTK, WEBKIT = "libgtk-3.so.0", "libwebkit2gtk-4.1.so.0"
HANDLER = ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p, ctypes.c_void_p)


class Library:
    """A C library whose functions give back pointers; texts go in as they are in Python."""

    def __init__(self, name: str) -> None:
        self.library = ctypes.CDLL(name, mode=ctypes.RTLD_GLOBAL)

    def __getattr__(self, name: str) -> Callable[..., Any]:
        function = getattr(self.library, name)
        function.restype = ctypes.c_void_p

        def call(*given: Any) -> Any:
            return function(*(_as_c(one) for one in given))

        return call


def _as_c(given: Any) -> Any:
    if isinstance(given, str):
        return ctypes.c_char_p(given.encode())
    if isinstance(given, int):
        # A pointer, or a small number where a pointer's width does no harm.
        return ctypes.c_void_p(given)
    return given


class Window:
    """One window, its data in a folder."""

    def __init__(self, profile: Path) -> None:
        self.gtk, self.webkit = Library(GTK), Library(WEBKIT)
        self.gtk.gtk_init(None, None)
        self.kept = [HANDLER(self.begin), HANDLER(self.make_view), HANDLER(self.end)]
        manager = self.webkit.webkit_website_data_manager_new(
            *("base-data-directory", str(profile / "data")),
            *("base-cache-directory", str(profile / "cache")),
            None,
        )
        cookies = self.webkit.webkit_website_data_manager_get_cookie_manager(manager)
        self.webkit.webkit_cookie_manager_set_persistent_storage(
            cookies, str(profile / "cookies.sqlite"), COOKIES_IN_SQLITE
        )
        self.context = self.webkit.webkit_web_context_new_with_website_data_manager(manager)
        self.webkit.webkit_web_context_set_automation_allowed(self.context, 1)
        self.on(self.context, "automation-started", self.kept[0])

    def on(self, thing: int, signal: str, handler: Any) -> None:
        """Have a handler called at a signal of the library."""
        self.webkit.g_signal_connect_data(thing, signal, handler, None, None, 0)

    def begin(self, _context: int, session: int, _data: int) -> None:
        """A driver has come: say who we are, and make it a view when it asks."""
        info = self.webkit.webkit_application_info_new()
        self.webkit.webkit_application_info_set_name(info, "MiniBrowser")
        self.webkit.webkit_automation_session_set_application_info(session, info)
        self.on(session, "create-web-view", self.kept[1])

    def make_view(self, _session: int, _data: int, _none: int) -> int:
        """Return a view in a window of a phone's size."""
        view: int = self.webkit.g_object_new(
            self.webkit.webkit_web_view_get_type(),
            *("web-context", self.context),
            *("is-controlled-by-automation", 1),
            None,
        )
        window = self.gtk.gtk_window_new(0)
        self.gtk.gtk_window_set_default_size(window, WIDTH, HEIGHT)
        self.gtk.gtk_container_add(window, view)
        self.gtk.gtk_widget_show_all(window)
        self.on(view, "close", self.kept[2])
        return view

    def end(self, *_: int) -> None:
        """The driver has closed the view."""
        self.gtk.gtk_main_quit()


def main(profile: Path) -> None:
    """Open a window on a profile, and write down by which process."""
    profile.mkdir(parents=True, exist_ok=True)
    (profile / "pid").write_text(str(os.getpid()))
    window = Window(profile)
    window.gtk.gtk_main()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
