# SPDX-License-Identifier: Apache-2.0
"""The tidy checks themselves: each must find what it is for."""
import pathlib
import re
import sys
import tempfile
import unittest

import tidy_test
from functions import cpp_functions, python_functions
from sources import ROOT, code_only

sys.path.insert(0, str(ROOT / "tests"))
from tally import tally  # noqa: E402

CPP = """namespace a {
struct S {
  int x = 0;
  int get() const {
    return x;
  }
};
enum class E { kOne, kTwo };
constexpr int kTable[] = {
    1,
    2,
};
template <typename T>
void swap(T& a) {
  if (a) {
    const char* text = "}";  // }
  }
}
S::S(int y)
    : x(y) {}
int thousand() { return 1'000; }
}  // namespace a
"""


class FunctionLengthTest(unittest.TestCase):
    def test_finds_each_body_by_hand_count(self):
        self.assertEqual([(4, 6), (13, 18), (19, 20), (21, 21)], cpp_functions(CPP))

    def test_long_function_is_seen(self):
        body = "".join(f"  f({i});\n" for i in range(80))
        spans = cpp_functions("void g() {\n" + body + "}\n")
        self.assertEqual([(1, 82)], spans)

    def test_lambdas_count_with_the_function_around_them(self):
        self.assertEqual([(1, 3)], cpp_functions("void f() {\n  auto g = [](int a) { return a; };\n}\n"))

    def test_function_after_a_raw_string_with_braces(self):
        self.assertEqual([(2, 4)], cpp_functions('const char* t = R"(}}} {)";\nint f() {\n  return 0;\n}\n'))

    def test_python(self):
        self.assertEqual([(1, 3)], python_functions("def f():\n    a = 1\n    return a\n"))


class IncludeTest(unittest.TestCase):
    def test_steps_back_are_refused(self):
        table = tidy_test.folder_table()
        refused = [("host/model/a.cc", "host/decode/b.h"), ("host/detect/a.cc", "firmware/core/b.h"),
                   ("firmware/core/a.cc", "host/model/b.h"), ("firmware/core/a.cc", "firmware/app/b.h"),
                   ("proto/wire/a.cc", "link.pb.h"), ("host/simulate/a.cc", "host/detect/b.h"),
                   ("host/report/a.cc", "host/detect/b.h"), ("host/model/a.cc", "jig.h"),
                   ("firmware/core/a.cc", "link.pb.h"), ("host/link/a.cc", "link.npb.h")]
        for path, included in refused:
            self.assertIsNotNone(tidy_test.include_complaint(path, included, table), (path, included))

    def test_steps_forward_are_allowed(self):
        table = tidy_test.folder_table()
        allowed = [("host/decode/a.cc", "host/model/b.h"), ("host/model/a.cc", "host/model/b.h"),
                   ("firmware/board/native/main.cc", "firmware/app/b.h"), ("host/model/a.cc", "jig.pb.h"),
                   ("firmware/core/a.cc", "link.npb.h"), ("tests/unit/host/judge/a_test.cc", "host/judge/a.h")]
        for path, included in allowed:
            self.assertIsNone(tidy_test.include_complaint(path, included, table), (path, included))


class WordTest(unittest.TestCase):
    def test_banned_words_are_found(self):
        banned = re.compile("|".join(tidy_test.BANNED))
        for bad in ("// TO" + "DO: later", "DISABLE" + "D_Reads", "see /hom" + "e/me/x", "see /roo" + "t/x"):
            self.assertIsNotNone(banned.search(bad), bad)
        for good in ("hardware-notes/front-end.md", "path/to/root/x", "at home/x"):
            self.assertIsNone(banned.search(good), good)


class TallyTest(unittest.TestCase):
    def tally_of(self, cases, code):
        with tempfile.TemporaryDirectory() as folder:
            path = pathlib.Path(folder) / "tests.xml"
            path.write_text(f"<testsuite>{cases}</testsuite>", encoding="utf-8")
            return tally(path, code)

    def test_counts_passed_and_failed(self):
        cases = '<testcase name="a" status="run"/><testcase name="b" status="fail"/><testcase name="c" status="run"/>'
        self.assertEqual((2, ["b"]), self.tally_of(cases, 8))

    def test_not_run_has_not_passed(self):
        self.assertEqual((0, ["a", "b"]), self.tally_of('<testcase name="a" status="notrun"/><testcase name="b" '
                                                        'status="disabled"/>', 0))

    def test_a_bad_end_without_a_failed_test_is_a_failure(self):
        self.assertEqual((1, ["ctest ended with 8"]), self.tally_of('<testcase name="a" status="run"/>', 8))

    def test_nothing_is_a_failure(self):
        self.assertEqual(1, len(self.tally_of("", 0)[1]))
        self.assertEqual(1, len(tally("/nonexistent/tests.xml", 0)[1]))


class CodeOnlyTest(unittest.TestCase):
    def test_keeps_line_numbers(self):
        self.assertEqual(CPP.count("\n"), code_only(CPP).count("\n"))
        self.assertNotIn("}\"", code_only(CPP))


if __name__ == "__main__":
    sys.exit(unittest.main())
