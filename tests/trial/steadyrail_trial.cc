// SPDX-License-Identifier: Apache-2.0
// Many sessions of every kind through the code of `review`: steadyrail-trial --help.
// Exit codes: 0 no goal is missed, 1 one is, 2 wrong use.
#include <algorithm>
#include <atomic>
#include <fstream>
#include <iostream>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include <fmt/format.h>
#include <unistd.h>
#include <CLI/CLI.hpp>

#include "tests/trial/score.h"

namespace {

struct Options {
  std::uint64_t sessions = trial::kOfKindAsked;
  std::uint64_t innocents = trial::kInnocentsAsked;
  std::vector<std::string> kinds;
  std::uint64_t seed = 1;
  double minutes = 45;
  unsigned threads = 1;
  std::string rows;
  bool explain = false;
};

struct Task {
  std::string kind;
  std::uint64_t seed = 0;
};

/// Innocent sessions in equal shares of their kinds, of the others as many as asked; the kinds in turn, so that a trial
/// cut short has some of each.
std::vector<Task> tasks_of(const Options& options) {
  std::vector<std::string> chosen = options.kinds;
  if (chosen.empty()) chosen.assign(trial::kinds().begin(), trial::kinds().end());
  const auto innocent = static_cast<std::uint64_t>(std::ranges::count_if(chosen, trial::innocent));
  const std::uint64_t of_innocent = innocent == 0 ? 0 : (options.innocents + innocent - 1) / innocent;
  std::vector<Task> tasks;
  for (std::uint64_t i = 0; i < std::max(options.sessions, of_innocent); ++i) {
    for (const std::string& kind : chosen) {
      if (i < (trial::innocent(kind) ? of_innocent : options.sessions)) tasks.push_back({kind, options.seed + i});
    }
  }
  return tasks;
}

class Runner {
 public:
  Runner(const Options& options, const trial::Bench& bench)
      : options_(options), bench_(bench), tasks_(tasks_of(options)) {
    if (!options.rows.empty()) file_.open(options.rows, std::ios::app);
  }

  std::uint64_t redrawn() const { return redrawn_; }

  std::vector<trial::Row> run() {
    std::vector<std::thread> threads;
    for (unsigned i = 0; i < options_.threads; ++i) threads.emplace_back([this] { work(); });
    for (std::thread& thread : threads) thread.join();
    if (told_) std::cerr << '\n';
    return std::move(rows_);
  }

 private:
  void work() {
    for (std::size_t i = next_++; i < tasks_.size(); i = next_++) {
      const Task& task = tasks_[i];
      judge(task, task.seed);
    }
  }
  // An innocent supply that was drawn so badly that it is none is drawn again.
  void judge(const Task& task, std::uint64_t seed) {
    for (;; seed += kAgain) {
      auto one = trial::draw(task.kind, seed, *bench_.judging.unit);
      if (!one) return complain(task, one.error());
      one->plan.seconds = 60 * options_.minutes;
      const auto judged = trial::judge_case(bench_, task.kind, *one);
      if (!judged) return complain(task, judged.error());
      if (!judged->expected.spoiled) {
        return keep(trial::row_of(task.kind, seed, *judged, one->plan.seconds));
      }
      ++redrawn_;
    }
  }
  void complain(const Task& task, const std::string& why) {
    const std::lock_guard lock(mutex_);
    std::cerr << fmt::format("\n{} with seed {}: {}\n", task.kind, task.seed, why);
  }
  void keep(trial::Row row) {
    const std::lock_guard lock(mutex_);
    if (file_.is_open()) file_ << trial::csv_of(row) << std::endl;
    if (options_.explain && !trial::right(row)) {
      std::cout << trial::csv_of(row) << '\n';
      for (const std::string& ground : row.grounds) std::cout << "    " << ground << '\n';
      std::cout << std::flush;
    }
    rows_.push_back(std::move(row));
    if (::isatty(STDERR_FILENO) == 0 && rows_.size() % 50 != 0) return;
    told_ = true;
    std::cerr << fmt::format("\r{} of {} sessions", rows_.size(), tasks_.size()) << std::flush;
  }

  const Options& options_;
  const trial::Bench& bench_;
  std::vector<Task> tasks_;
  static constexpr std::uint64_t kAgain = 1'000'000;
  std::atomic<std::size_t> next_{0};
  std::atomic<std::uint64_t> redrawn_{0};
  std::mutex mutex_;
  std::vector<trial::Row> rows_;
  std::ofstream file_;
  bool told_ = false;
};

}  // namespace

int main(int argc, char** argv) {
  Options options;
  CLI::App app("Trial of the whole: simulated sessions of every kind, judged as a recording would be", "trial");
  app.add_option("--sessions", options.sessions, "Sessions of each kind that is not innocent")->capture_default_str();
  app.add_option("--innocents", options.innocents, "Innocent sessions, all kinds together")->capture_default_str();
  app.add_option("--scenario", options.kinds, "Only these kinds, more than one if repeated");
  app.add_option("--seed", options.seed, "Of the first session of each kind")->capture_default_str();
  app.add_option("--minutes", options.minutes, "Length of a session")->capture_default_str();
  app.add_option("--threads", options.threads, "At once")->capture_default_str();
  app.add_option("--rows", options.rows, "Append a line for each session to this file");
  app.add_flag("--explain", options.explain, "Print what each wrong conclusion rests on");
  app.footer("Example:\n  sh tests/trial.sh --sessions 20 --innocents 100 --seed 7");
  CLI11_PARSE(app, argc, argv);
  for (const std::string& kind : options.kinds) {
    if (std::ranges::find(trial::kinds(), kind) != trial::kinds().end()) continue;
    std::cerr << "no kind of session is named '" << kind << "'; there are:";
    for (const std::string_view known : trial::kinds()) std::cerr << ' ' << known;
    std::cerr << '\n';
    return 2;
  }
  const auto bench = trial::Bench::create();
  if (!bench) {
    std::cerr << bench.error() << '\n';
    return 2;
  }
  Runner runner(options, *bench);
  const std::vector<trial::Row> rows = runner.run();
  std::cout << trial::report(rows);
  std::cout << fmt::format("{} innocent supplies were drawn again: what varied took them beyond their limits\n",
                           runner.redrawn());
  const auto all = trial::goals(rows);
  return std::ranges::any_of(all, [](const auto& goal) { return goal.standing == trial::Standing::kMissed; }) ? 1 : 0;
}
