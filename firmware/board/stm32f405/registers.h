// SPDX-License-Identifier: Apache-2.0
// The register blocks used, as structs. Names are those of the reference manual RM0090. Where each comes from:
//
//   order of the registers of every block, base addresses, interrupt numbers   read in a copy of the vendor's header
//   DMA requests by stream and channel (tables 42 and 43)                      read in a copy of RM0090, revision 18
//   break input clears MOE without a clock, OSSI, OISx                         read in a copy of a sister part's manual
//   flash: programming sequence, PSIZE by supply voltage                       read in a copy of RM0090, revision 4
//   every other bit, here and in the drivers                                   from memory: check at bring-up
//
// No code that touches these has run on a chip; the drivers are tested against stand-ins (reg.h) only.
#pragma once

#include <cstddef>
#include <cstdint>

#include "firmware/board/stm32f405/reg.h"

namespace firmware::chip {

struct Rcc {
  Reg CR, PLLCFGR, CFGR, CIR, AHB1RSTR, AHB2RSTR, AHB3RSTR, reserved0, APB1RSTR, APB2RSTR, reserved1[2], AHB1ENR,
      AHB2ENR, AHB3ENR, reserved2, APB1ENR, APB2ENR, reserved3[2], AHB1LPENR, AHB2LPENR, AHB3LPENR, reserved4,
      APB1LPENR, APB2LPENR, reserved5[2], BDCR, CSR;
};

struct Pwr {
  Reg CR, CSR;
};

struct FlashInterface {
  Reg ACR, KEYR, OPTKEYR, SR, CR, OPTCR;
};

struct Gpio {
  Reg MODER, OTYPER, OSPEEDR, PUPDR, IDR, ODR, BSRR, LCKR, AFR[2];
};

struct Spi {
  Reg CR1, CR2, SR, DR, CRCPR, RXCRCR, TXCRCR, I2SCFGR, I2SPR;
};

struct DmaStreamRegisters {
  Reg CR, NDTR, PAR, M0AR, M1AR, FCR;
};

struct Dma {
  Reg LISR, HISR, LIFCR, HIFCR;
  DmaStreamRegisters stream[8];
};

struct Usart {
  Reg SR, DR, BRR, CR1, CR2, CR3, GTPR;
};

struct Timer {
  Reg CR1, CR2, SMCR, DIER, SR, EGR, CCMR[2], CCER, CNT, PSC, ARR, RCR, CCR[4], BDTR, DCR, DMAR, OR;
};

struct Iwdg {
  Reg KR, PR, RLR, SR;
};

struct Adc {
  Reg SR, CR1, CR2, SMPR1, SMPR2, JOFR[4], HTR, LTR, SQR1, SQR2, SQR3, JSQR, JDR[4], DR;
};

struct AdcCommon {
  Reg CSR, CCR, CDR;
};

/// Cortex-M4's interrupt controller and system control block (ARMv7-M Architecture Reference Manual B3.4 and B3.2).
struct Nvic {
  Reg ISER[8], reserved0[24], ICER[8], reserved1[24], ISPR[8], reserved2[24], ICPR[8], reserved3[24], IABR[8],
      reserved4[56], IPR[60];
};

struct Scb {
  Reg CPUID, ICSR, VTOR, AIRCR, SCR, CCR, SHPR[3], SHCSR, CFSR, HFSR, DFSR, MMFAR, BFAR, AFSR;
};

#if defined(__arm__)

static_assert(offsetof(Rcc, APB2ENR) == 0x44 && offsetof(Rcc, CSR) == 0x74);
static_assert(offsetof(Gpio, AFR) == 0x20);
static_assert(offsetof(Dma, stream) == 0x10 && sizeof(DmaStreamRegisters) == 0x18);
static_assert(offsetof(Timer, CCR) == 0x34 && offsetof(Timer, BDTR) == 0x44);
static_assert(offsetof(Adc, SQR3) == 0x34 && offsetof(Adc, DR) == 0x4C);
static_assert(offsetof(Nvic, IPR) == 0x300);
static_assert(offsetof(Scb, CFSR) == 0x28 && offsetof(Scb, BFAR) == 0x38);

/// The block at its place on the bus.
template <typename Block>
Block& block_at(std::uint32_t address) {
  return *reinterpret_cast<Block*>(address);
}

inline constexpr std::uint32_t kApb1 = 0x40000000;
inline constexpr std::uint32_t kApb2 = 0x40010000;
inline constexpr std::uint32_t kAhb1 = 0x40020000;

inline Timer& tim1() {
  return block_at<Timer>(kApb2 + 0x0000);
}
inline Timer& tim2() {
  return block_at<Timer>(kApb1 + 0x0000);
}
inline Timer& tim3() {
  return block_at<Timer>(kApb1 + 0x0400);
}
inline Timer& tim4() {
  return block_at<Timer>(kApb1 + 0x0800);
}
inline Timer& tim5() {
  return block_at<Timer>(kApb1 + 0x0C00);
}
inline Timer& tim8() {
  return block_at<Timer>(kApb2 + 0x0400);
}
inline Timer& tim9() {
  return block_at<Timer>(kApb2 + 0x4000);
}
inline Iwdg& iwdg() {
  return block_at<Iwdg>(kApb1 + 0x3000);
}
inline Spi& spi1() {
  return block_at<Spi>(kApb2 + 0x3000);
}
inline Spi& spi2() {
  return block_at<Spi>(kApb1 + 0x3800);
}
inline Spi& spi3() {
  return block_at<Spi>(kApb1 + 0x3C00);
}
inline Pwr& pwr() {
  return block_at<Pwr>(kApb1 + 0x7000);
}
inline Usart& usart1() {
  return block_at<Usart>(kApb2 + 0x1000);
}
inline Adc& adc1() {
  return block_at<Adc>(kApb2 + 0x2000);
}
inline AdcCommon& adc_common() {
  return block_at<AdcCommon>(kApb2 + 0x2300);
}
inline Gpio& gpio_a() {
  return block_at<Gpio>(kAhb1 + 0x0000);
}
inline Gpio& gpio_b() {
  return block_at<Gpio>(kAhb1 + 0x0400);
}
inline Gpio& gpio_c() {
  return block_at<Gpio>(kAhb1 + 0x0800);
}
inline Gpio& gpio_d() {
  return block_at<Gpio>(kAhb1 + 0x0C00);
}
inline Rcc& rcc() {
  return block_at<Rcc>(kAhb1 + 0x3800);
}
inline FlashInterface& flash_interface() {
  return block_at<FlashInterface>(kAhb1 + 0x3C00);
}
inline Dma& dma1() {
  return block_at<Dma>(kAhb1 + 0x6000);
}
inline Dma& dma2() {
  return block_at<Dma>(kAhb1 + 0x6400);
}
inline Nvic& nvic() {
  return block_at<Nvic>(0xE000E100);
}
inline Scb& scb() {
  return block_at<Scb>(0xE000ED00);
}

#endif

/// Interrupt numbers.
enum class Interrupt : std::uint8_t {
  kTim1BreakTim9 = 24,
  kTim2 = 28,
  kTim3 = 29,
  kUsart1 = 37,
  kTim8Break = 43,
  kTim5 = 50,
  kDma2Stream5 = 68,
  kDma2Stream7 = 70,
};

/// Enables it; 0 is the most urgent of 16 priorities (the upper four bits of its byte).
inline void enable_interrupt(Nvic& nvic, Interrupt interrupt, std::uint32_t priority) {
  const auto number = static_cast<std::uint32_t>(interrupt);
  const std::uint32_t shift = number % 4 * 8;
  set_field(nvic.IPR[number / 4], 0xFFU << shift, priority << (shift + 4));
  nvic.ISER[number / 32] = 1U << number % 32;
}

}  // namespace firmware::chip
