// SPDX-License-Identifier: Apache-2.0
#include "host/app/sha256.h"

#include <array>
#include <cerrno>
#include <cstdlib>
#include <cstring>
#include <fstream>
#include <memory>
#include <vector>

#include <fmt/format.h>
#include <openssl/evp.h>

namespace host::app {
namespace {

/// libcrypto fails here only when it has no SHA-256 or no memory: nothing a caller could do.
void require(int result) {
  if (result != 1) std::abort();
}

class Hash {
 public:
  Hash() : context_(EVP_MD_CTX_new(), EVP_MD_CTX_free) {
    require(EVP_DigestInit_ex(context_.get(), EVP_sha256(), nullptr));
  }
  void add(std::string_view bytes) { require(EVP_DigestUpdate(context_.get(), bytes.data(), bytes.size())); }
  std::string hex() {
    std::array<unsigned char, EVP_MAX_MD_SIZE> digest{};
    unsigned int bytes = 0;
    require(EVP_DigestFinal_ex(context_.get(), digest.data(), &bytes));
    std::string out;
    for (unsigned int i = 0; i < bytes; ++i) out += fmt::format("{:02x}", digest[i]);
    return out;
  }

 private:
  std::unique_ptr<EVP_MD_CTX, void (*)(EVP_MD_CTX*)> context_;
};

}  // namespace

std::string sha256(std::string_view bytes) {
  Hash hash;
  hash.add(bytes);
  return hash.hex();
}

std::expected<std::string, std::string> sha256_of_file(const std::string& path) {
  std::ifstream file(path, std::ios::binary);
  if (!file) return std::unexpected(fmt::format("{}: {}", path, std::strerror(errno)));
  Hash hash;
  std::vector<char> piece(std::size_t{1} << 20);
  while (file.read(piece.data(), static_cast<std::streamsize>(piece.size())) || file.gcount() > 0) {
    hash.add({piece.data(), static_cast<std::size_t>(file.gcount())});
  }
  if (file.bad()) return std::unexpected(fmt::format("{}: cannot be read to its end", path));
  return hash.hex();
}

}  // namespace host::app
