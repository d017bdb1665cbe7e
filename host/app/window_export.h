// SPDX-License-Identifier: Apache-2.0
// Windows of a session to CSV as they are decoded, beside whatever else listens.
#pragma once

#include <expected>
#include <fstream>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "host/decode/sink.h"
#include "host/model/jig.h"

namespace host::app {

class WindowExport : public decode::Sink {
 public:
  /// The error is a sentence for the user.
  static std::expected<std::unique_ptr<WindowExport>, std::string> create(const std::string& path);

  void header(const steadyrail::proto::RecordingHeader& header) override;
  void windows(const decode::WindowBatch& batch) override;

  /// After the session. Errors: the file could not be written to its end; the header's description of the jig is
  /// unsound.
  std::expected<void, std::string> close();

 private:
  explicit WindowExport(const std::string& path) : path_(path) {}

  std::string path_;
  std::ofstream file_;
  std::optional<model::Jig> jig_;
  std::string fault_;
};

/// Gives each call to several sinks, in their order.
class Tee : public decode::Sink {
 public:
  explicit Tee(std::vector<decode::Sink*> sinks) : sinks_(std::move(sinks)) {}

  void header(const steadyrail::proto::RecordingHeader& header) override;
  void hello(const steadyrail::proto::Hello& hello) override;
  void windows(const decode::WindowBatch& batch) override;
  void capture(const decode::CaptureBatch& batch) override;
  void event(const steadyrail::proto::Event& event) override;
  void status(const steadyrail::proto::Status& status) override;
  void log(const steadyrail::proto::Log& log) override;
  void gap(const decode::ScanGap& gap) override;
  void restarted(std::uint32_t boot) override;
  void note(const steadyrail::proto::HostNote& note) override;
  void finish() override;

 private:
  std::vector<decode::Sink*> sinks_;
};

}  // namespace host::app
