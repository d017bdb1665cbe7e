// SPDX-License-Identifier: Apache-2.0
#include "firmware/board/stm32f405/chip_board.h"

#include "firmware/board/stm32f405/cpu.h"
#include "firmware/board/stm32f405/startup.h"
#include "link.npb.h"

extern "C" std::uint32_t chip_records_begin[];  // placed by the linker script

namespace firmware::chip {
namespace {

constexpr std::uint32_t kBaud = 2'000'000;
constexpr std::uint32_t kSpi1Divider = 2;            // 84 MHz / 8 = 10.5 MHz: the isolators' delay allows 15.6
constexpr std::uint32_t kSpi23Divider = 1;           // 42 MHz / 4
constexpr std::uint64_t kSilentScans = 320;          // 10 ms without a block
constexpr std::int32_t kOverTemperatureMk = 90'000;  // at a connector; own choice, below common insulation's 105 degC

Pin a(std::uint32_t number) {
  return {&gpio_a(), number};
}
Pin b(std::uint32_t number) {
  return {&gpio_b(), number};
}
Pin c(std::uint32_t number) {
  return {&gpio_c(), number};
}

// Outputs
constexpr std::uint32_t kPumpPin = 10;  // PB10
Pin ps_on_pin() {
  return b(9);
}
// Inputs, all with the safe meaning when a wire is off
Pin observe_contact() {
  return b(1);
}
Pin bench_contact() {
  return b(8);
}
Pin thermal_cutout() {
  return a(12);
}  // low: cut out
Pin fan_fail() {
  return a(15);
}  // low: a fan stands
Pin marker_pin() {
  return c(13);
}

}  // namespace

ChipBoard::ChipBoard(DmaMemory& memory, std::uint32_t reset_cause)
    : receive_{{dma2(), 0}, {dma1(), 3}, {dma1(), 0}},
      transmit_{{dma2(), 3}, {dma1(), 4}, {dma1(), 5}},
      line_receive_(dma2(), 5),
      line_transmit_(dma2(), 7),
      housekeeping_stream_(dma2(), 4),
      main_(spi1(), kSpi1Divider, receive_[0], transmit_[0], 3, memory.landing[0]),
      processor_(spi2(), kSpi23Divider, receive_[1], transmit_[1], 0, memory.landing[1]),
      graphics_(spi3(), kSpi23Divider, receive_[2], transmit_[2], 0, memory.landing[2]),
      clock_(tim2(), tim4()),
      block_(memory.block),
      reader_(clock_, {&main_, &processor_, &graphics_}, memory.block),
      line_(usart1(), line_receive_, line_transmit_, memory.serial),
      gates_({&tim1(), &tim8()}, gpio_b(), kPumpPin),
      ps_on_(ps_on_pin()),
      link_(observe_contact(), bench_contact()),
      watchdog_(iwdg()),
      flash_(flash_interface(), {chip_records_begin, chip_records_begin + kSectorWords}),
      records_(flash_),
      store_(records_, "steadyrail-stm32f405", reset_cause, this),
      housekeeping_(adc1(), adc_common(), housekeeping_stream_, memory.housekeeping),
      pwr_ok_lower_(tim5(), 0, 0, 0),
      pwr_ok_upper_(tim5(), 0, 2, 0),
      ps_on_lower_(tim3(), 1, 2, 0),
      ps_on_upper_(tim9(), 0, 0, 1, 1),
      pwr_ok_watch_(steadyrail_proto_Line_LINE_PWR_OK, false),
      ps_on_watch_(steadyrail_proto_Line_LINE_PS_ON, true),
      button_(marker_pin()),
      lights_{.link = b(11), .load_on = a(4), .fault = a(7)},
      source_(c(14), c(15), {&gpio_d(), 2}, b(2)) {}

void ChipBoard::set_up_pins() {
  for (const Pin light : {lights_.link, lights_.load_on, lights_.fault, ps_on_pin(), b(kPumpPin)}) {
    light.set(false);
    use_pin(light, PinUse::kOutput);
  }
  source_.set_up();
  for (const Pin input : {observe_contact(), bench_contact(), thermal_cutout(), fan_fail(), marker_pin()}) {
    use_pin(input, PinUse::kInput,
            input.number == thermal_cutout().number || input.number == fan_fail().number ? Pull::kDown : Pull::kUp);
  }
  for (const Pin gate : {a(8), a(9), a(10), a(11)}) use_pin(gate, PinUse::kAlternate, Pull::kDown, 1);
  for (const Pin gate : {c(6), c(7), c(8), c(9)}) use_pin(gate, PinUse::kAlternate, Pull::kDown, 3);
  use_pin(b(12), PinUse::kAlternate, Pull::kDown, 1);  // break of TIM1
  use_pin(a(6), PinUse::kAlternate, Pull::kDown, 3);   // break of TIM8
  for (const Pin bus : {b(3), b(4), b(5), b(13), b(14), b(15)}) use_pin(bus, PinUse::kAlternate, Pull::kNone, 5);
  for (const Pin bus : {c(10), c(11), c(12)}) use_pin(bus, PinUse::kAlternate, Pull::kNone, 6);
  use_pin(a(5), PinUse::kAlternate, Pull::kDown, 1);  // CNV, TIM2
  use_pin(b(6), PinUse::kAlternate, Pull::kUp, 7);
  use_pin(b(7), PinUse::kAlternate, Pull::kUp, 7);
  for (const Pin comparator : {a(0), a(2)}) use_pin(comparator, PinUse::kAlternate, Pull::kNone, 2);  // TIM5
  use_pin(b(0), PinUse::kAlternate, Pull::kNone, 2);                                                  // TIM3
  use_pin(a(3), PinUse::kAlternate, Pull::kNone, 3);                                                  // TIM9
  for (std::uint32_t number = 0; number < kThermistors; ++number) use_pin(c(number), PinUse::kAnalog);
  use_pin(a(1), PinUse::kAnalog);
}

Started ChipBoard::begin(ClockStart clock) {
  set_up_pins();
  lights_.show(false, false, true);
  store_.begin();
  const Started started = clock == ClockStart::kRunning ? start_all() : Started::kNoClock;
  acquiring_ = started == Started::kRunning;
  return started;
}

Started ChipBoard::start_all() {
  enable_interrupt(nvic(), Interrupt::kTim2, 1);
  for (const Interrupt capture : {Interrupt::kTim5, Interrupt::kTim3, Interrupt::kTim1BreakTim9}) {
    enable_interrupt(nvic(), capture, 2);
  }
  for (const Interrupt serial : {Interrupt::kUsart1, Interrupt::kDma2Stream7}) enable_interrupt(nvic(), serial, 3);
  if (!line_.begin(kBaud)) return Started::kNoLine;
  housekeeping_.begin();
  for (ComparatorCapture* capture : {&pwr_ok_lower_, &pwr_ok_upper_, &ps_on_lower_, &ps_on_upper_}) capture->begin();
  gates_.begin();
  if (!reader_.begin()) return Started::kNoConverters;
  watchdog_.begin();
  return Started::kRunning;
}

const ScanBlock* ChipBoard::take_block() {
  const ScanBlock* block = reader_.take_block();
  if (block == nullptr) return nullptr;
  blocks_end_ = block->first_scan + wire::kScansPerBlock;
  take_marker(blocks_end_ - 1);
  edges_.fill(block_, blocks_end_);
  return block;
}

void ChipBoard::take_marker(std::uint64_t scan) {
  const auto pressed = button_.look();
  if (!pressed) return;
  const InterruptLock lock;
  edges_.push({.line = steadyrail_proto_Line_LINE_MARKER, .high = *pressed, .scan = scan});
}

void ChipBoard::after_block(bool linked, bool loaded, bool faulty) {
  gates_.keep_supplied();
  housekeeping_.keep_going();
  lights_.show(linked, loaded, faulty);
}

// Scans that nobody could read are told as lost by the next block; they are no sign of a lost converter.
void ChipBoard::stand_still(bool begins) {
  if (!acquiring_) return;  // the watchdog has not begun
  watchdog_.allow_erase(begins);
  blocks_end_ = reader_.scan_now();
}

Alarm ChipBoard::alarm() {
  if (gates_.broken() || !thermal_cutout().high() || !fan_fail().high()) return Alarm::kFanOrThermal;
  const auto warmest = housekeeping_.warmest_mk();
  if (warmest && *warmest >= kOverTemperatureMk) return Alarm::kOverTemperature;
  if (!acquiring_ || reader_.lost_converters() != 0 || reader_.scan_now() > blocks_end_ + kSilentScans)
    return Alarm::kConverterLost;
  const std::uint32_t late = reader_.faults().taken_late;
  const bool overrun = late != taken_late_;
  taken_late_ = late;
  return overrun ? Alarm::kOverrun : Alarm::kNone;
}

BoardReadings ChipBoard::readings() const {
  const auto warmest = housekeeping_.warmest_mk();
  return {.temperature_mk = warmest ? *warmest : housekeeping_.chip_mk(),
          .supply_mv = housekeeping_.supply_mv(),
          .stack_free_bytes = stack_free_bytes()};
}

void ChipBoard::on_capture() {
  const std::uint64_t scan = reader_.scan_now();
  const std::uint32_t ticks = clock_.ticks();
  const auto queue = [this](const LineEdge& edge) { edges_.push(edge); };
  pwr_ok_watch_.take(pwr_ok_lower_.take(scan, ticks), pwr_ok_upper_.take(scan, ticks), queue);
  ps_on_watch_.take(ps_on_lower_.take(scan, ticks), ps_on_upper_.take(scan, ticks), queue);
}

}  // namespace firmware::chip
