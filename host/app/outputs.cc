// SPDX-License-Identifier: Apache-2.0
#include "host/app/outputs.h"

#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <fstream>

#include <fmt/format.h>

namespace host::app {
namespace {

namespace fs = std::filesystem;

std::string folder_of(const std::string& path) {
  const std::string folder = fs::path(path).parent_path().string();
  return folder.empty() ? "." : folder;
}

std::expected<void, std::string> check_output(const OutputName& output) {
  const auto wrong = [&](std::string_view why) {
    return std::unexpected(fmt::format("{} {}: {}", output.option, output.path, why));
  };
  std::error_code fault;
  const fs::file_status status = fs::status(output.path, fault);
  if (fs::is_directory(status)) return wrong("is a folder");
  if (fs::exists(status)) {
    if (access(output.path.c_str(), W_OK) != 0) return wrong(std::strerror(errno));
    if (!fs::is_regular_file(status)) return {};
  }
  const std::string folder = folder_of(output.path);
  const fs::file_status folder_status = fs::status(folder, fault);
  if (!fs::exists(folder_status)) return wrong("its folder is not there");
  if (!fs::is_directory(folder_status)) return wrong("its folder is a file");
  if (access(folder.c_str(), W_OK | X_OK) != 0) return wrong("its folder cannot be written");
  return {};
}

bool same_file(const std::string& left, const std::string& right) {
  std::error_code fault;
  if (fs::equivalent(left, right, fault)) return fs::is_regular_file(left, fault);
  // A name that is not there yet stays relative unless it is made absolute first.
  return fs::weakly_canonical(fs::absolute(left, fault), fault) ==
         fs::weakly_canonical(fs::absolute(right, fault), fault);
}

}  // namespace

std::expected<void, std::string> check_outputs(const std::vector<OutputName>& outputs,
                                               const std::vector<std::string>& inputs) {
  for (std::size_t i = 0; i < outputs.size(); ++i) {
    if (outputs[i].path.empty()) continue;
    if (const auto checked = check_output(outputs[i]); !checked) return checked;
    for (std::size_t j = 0; j < i; ++j) {
      if (!outputs[j].path.empty() && same_file(outputs[i].path, outputs[j].path) && outputs[i].path != "/dev/null") {
        return std::unexpected(
            fmt::format("{} and {} name the same file: {}", outputs[j].option, outputs[i].option, outputs[i].path));
      }
    }
    for (const std::string& input : inputs) {
      if (!input.empty() && same_file(outputs[i].path, input)) {
        return std::unexpected(fmt::format("{} {}: would write over what is read", outputs[i].option, input));
      }
    }
  }
  return {};
}

std::expected<void, std::string> write_file(const std::string& path, std::string_view content) {
  std::error_code fault;
  const fs::file_status status = fs::status(path, fault);
  const bool direct = fs::exists(status) && !fs::is_regular_file(status);
  const std::string beside = direct ? path : path + ".part";
  errno = 0;
  std::ofstream file(beside, std::ios::binary | std::ios::trunc);
  file.write(content.data(), static_cast<std::streamsize>(content.size()));
  file.close();
  if (!file) {
    const std::string why = errno != 0 ? std::strerror(errno) : "cannot be written";
    if (!direct) fs::remove(beside, fault);
    return std::unexpected(fmt::format("{}: {}", path, why));
  }
  if (direct) return {};
  fs::rename(beside, path, fault);
  if (fault) return std::unexpected(fmt::format("{}: {}", path, fault.message()));
  return {};
}

}  // namespace host::app
