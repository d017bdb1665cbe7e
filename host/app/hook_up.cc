// SPDX-License-Identifier: Apache-2.0
#include "host/app/hook_up.h"

#include <poll.h>
#include <unistd.h>

#include <utility>
#include <vector>

#include <fmt/format.h>
#include <fmt/ranges.h>

namespace host::app {
namespace {

namespace proto = steadyrail::proto;

constexpr double kDeadV = 0.5;
constexpr double kFedBackV = 0.1;
constexpr std::size_t kLineBytesMax = 200;

/// What the jig must read when a step is done.
enum class Check : std::uint8_t { kDead, kPlaces, kNotFedBack };

struct Step {
  const char* name;
  const char* words;
  Check check;
  const char* hint;  // where the readings are wrong
};

// Ground before signals before power: a sense wire without its ground finds another way back, through the computer.
constexpr Step kOrder[HookUp::kSteps] = {
    {"mains-off",
     "Mains off at the switch of the outlet; the plug stays in, it keeps the earth. No PC, no load.\n"
     "    The outputs dead by your own meter; then the jig's ground ties first, then its signal plugs, then the "
     "supply's\n"
     "    power plugs into the jig.",
     Check::kDead, "mains off first; outputs may take a minute to fall. Dead outputs say nothing of what is inside"},
    {"without-pc",
     "Still NO PC. Mains on; switch the supply on by a test switch at PS_ON#, if there is one.\n"
     "    Cables of another supply can fit and carry other voltages: here they show without harm.",
     Check::kPlaces, "mains off at once, then look at that cable and plug"},
    {"mains-off-again", "Mains off again at the switch; wait until the outputs have fallen.", Check::kNotFedBack,
     "wait for the capacitors; what stays is fed in from somewhere: find it first"},
    {"pc",
     "Mains still off. Plugs of the PC into the jig now: processor and graphics plugs share a pitch with opposite\n"
     "    polarity, never force one. The recording computer is not the PC under test and shares no USB lead with it.",
     Check::kNotFedBack, "the PC, a monitor or a hub feeds back into the outputs: unplug those leads one by one"},
};

struct Found {
  std::vector<std::string> wrong;
  std::string reading;
  bool sensed = false;  // some output was
};

Found look(Check check, const model::Jig& jig, const detect::LevelMeter& levels) {
  Found out;
  if (check == Check::kPlaces) {
    detect::RailPlaces places = detect::rail_places(jig, levels);
    out.wrong = std::move(places.wrong);
    out.sensed = places.in_place + places.dead > 0;
    out.reading = fmt::format("rails in their places: {}, dead: {}", places.in_place, places.dead);
    if (places.dead > 0) out.reading += "; what is dead was not looked at";
  } else {
    detect::LiveRails live = detect::live_rails(jig, levels, check == Check::kDead ? kDeadV : kFedBackV);
    out.wrong = std::move(live.wrong);
    out.sensed = !live.highest.empty();
    out.reading = out.sensed ? live.highest : "no output is sensed: nothing was measured";
  }
  return out;
}

}  // namespace

HookUp::HookUp(const model::Jig& jig, int input, Terminal& terminal, ReadLevels read_levels, std::stop_token stop)
    : jig_(jig), input_(input), terminal_(terminal), read_levels_(std::move(read_levels)), stop_(std::move(stop)) {}

// Byte by byte: what comes after the line belongs to others.
std::optional<std::string> HookUp::line() {
  constexpr int kLookEveryMs = 200;
  std::string out;
  while (!stop_.stop_requested()) {
    pollfd ready{input_, POLLIN, 0};
    if (poll(&ready, 1, kLookEveryMs) <= 0) continue;
    char byte = 0;
    if (read(input_, &byte, 1) <= 0) return std::nullopt;
    if (byte == '\n') return out;
    if (out.size() < kLineBytesMax) out += byte;
  }
  return std::nullopt;
}

std::expected<void, std::string> HookUp::step(std::size_t index, proto::HookUpStep& out) {
  const Step& asked = kOrder[index];
  out.set_name(asked.name);
  terminal_.say(fmt::format("Step {} of {}: {}", index + 1, kSteps, asked.words));
  while (out.tries() < kTriesMost) {
    terminal_.say("  Enter when done; 'end' ends here.");
    const auto said = line();
    if (!said || *said == "end") return std::unexpected("the hook-up order was not gone through, nothing recorded");
    out.set_tries(out.tries() + 1);
    const auto levels = read_levels_();
    if (!levels) return std::unexpected(levels.error());
    const Found found = look(asked.check, jig_, *levels);
    if (found.wrong.empty()) {
      out.set_proof(found.sensed ? proto::HOOK_UP_PROOF_MEASURED : proto::HOOK_UP_PROOF_WORD);
      out.add_readings(found.reading);
      terminal_.say("  " + found.reading);
      return {};
    }
    for (const std::string& words : found.wrong) {
      terminal_.say("  WRONG: " + words);
      out.add_wrong(words);
    }
    terminal_.say(fmt::format("  Not right: {}.", asked.hint));
  }
  return std::unexpected(fmt::format("step {} was wrong {} times: nothing recorded", index + 1, kTriesMost));
}

std::expected<proto::HookUp, std::string> HookUp::run() {
  proto::HookUp out;
  terminal_.say("The order of hooking up, before anything is recorded:");
  for (std::size_t i = 0; i < kSteps; ++i) {
    if (auto done = step(i, *out.add_steps()); !done) return std::unexpected(done.error());
  }
  terminal_.say("Now mains on, and start the PC.");
  return out;
}

std::string hook_up_order() {
  std::string out = "The order of hooking up, before anything is recorded:\n";
  for (std::size_t i = 0; i < HookUp::kSteps; ++i) out += fmt::format("  {}. {}\n", i + 1, kOrder[i].words);
  return out;
}

std::string hook_up_words(const proto::HookUp& done, bool declared) {
  if (declared) return "Declared done before the program was started; the jig measured none of its steps.";
  if (done.steps().empty())
    return "Confirmed step by step at the program's prompt; the jig measured none of its steps.";
  std::vector<std::string> steps;
  for (const proto::HookUpStep& step : done.steps()) {
    std::string words = fmt::format("{}: {}", step.name(), fmt::join(step.readings(), ", "));
    if (step.tries() > 1)
      words += fmt::format(", right at try {}; before: {}", step.tries(), fmt::join(step.wrong(), ", "));
    steps.push_back(std::move(words));
  }
  return fmt::format("Gone through step by step, each confirmed at the prompt and read by the jig. {}.",
                     fmt::join(steps, ". "));
}

}  // namespace host::app
