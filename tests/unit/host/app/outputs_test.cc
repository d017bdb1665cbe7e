// SPDX-License-Identifier: Apache-2.0
#include "host/app/outputs.h"

#include <unistd.h>

#include <filesystem>
#include <fstream>
#include <sstream>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "host/app/sha256.h"

namespace host::app {
namespace {

using testing::HasSubstr;

class OutputsTest : public testing::Test {
 protected:
  OutputsTest() { std::filesystem::create_directories(folder_); }
  ~OutputsTest() override { std::filesystem::remove_all(folder_); }
  std::string path(const std::string& name) const { return folder_ + "/" + name; }

  std::string folder_ = testing::TempDir() + "outputs_test_" + std::to_string(getpid());
};

std::string content(const std::string& path) {
  std::ostringstream out;
  out << std::ifstream(path, std::ios::binary).rdbuf();
  return out.str();
}

TEST_F(OutputsTest, TakesNewFilesAndThoseNotAskedFor) {
  EXPECT_TRUE(check_outputs({{"--report", path("a.html")}, {"--json", ""}}, {path("in")}).has_value());
  EXPECT_TRUE(check_outputs({{"--report", "/dev/null"}, {"--json", "/dev/null"}}, {}).has_value());
}

TEST_F(OutputsTest, RefusesAFolderAMissingFolderAndAFileForAFolder) {
  EXPECT_THAT(check_outputs({{"--report", folder_}}, {}).error(), HasSubstr("is a folder"));
  EXPECT_THAT(check_outputs({{"--report", path("none/a.html")}}, {}).error(), HasSubstr("folder is not there"));
  ASSERT_TRUE(write_file(path("file"), "x").has_value());
  EXPECT_FALSE(check_outputs({{"--report", path("file/a.html")}}, {}).has_value());
}

TEST_F(OutputsTest, RefusesOneFileForTwoPurposes) {
  EXPECT_THAT(check_outputs({{"--report", path("a")}, {"--json", path("./a")}}, {}).error(), HasSubstr("same file"));
  ASSERT_TRUE(write_file(path("in"), "x").has_value());
  EXPECT_THAT(check_outputs({{"--json", path("in")}}, {path("in")}).error(), HasSubstr("would write over"));
  std::filesystem::create_symlink(path("in"), path("link"));
  EXPECT_FALSE(check_outputs({{"--json", path("link")}}, {path("in")}).has_value());
}

TEST_F(OutputsTest, WritesWholeAndLeavesNothingBeside) {
  ASSERT_TRUE(write_file(path("a"), "old").has_value());
  ASSERT_TRUE(write_file(path("a"), "new").has_value());
  EXPECT_EQ(content(path("a")), "new");
  EXPECT_FALSE(std::filesystem::exists(path("a.part")));
}

TEST_F(OutputsTest, SaysThatTheDiskIsFull) {
  EXPECT_THAT(write_file("/dev/full", std::string(100'000, 'x')).error(), HasSubstr("No space left"));
}

TEST_F(OutputsTest, HashesAsFips180Says) {
  // FIPS 180-2, appendix B.1 and B.3: "abc" and a million letters a; the empty message: NIST's example values.
  EXPECT_EQ(sha256("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(sha256(""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
  ASSERT_TRUE(write_file(path("a"), std::string(1'000'000, 'a')).has_value());
  EXPECT_EQ(sha256_of_file(path("a")).value(), "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
  EXPECT_FALSE(sha256_of_file(path("none")).has_value());
}

}  // namespace
}  // namespace host::app
