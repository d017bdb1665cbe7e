# SPDX-License-Identifier: Apache-2.0
# The images for the chip, built beside the host's programs by a cross compiler of their own.
find_program(STEADYRAIL_ARM_GXX arm-none-eabi-g++)
if(NOT STEADYRAIL_ARM_GXX)
  message(STATUS "Chip firmware: NOT BUILT, arm-none-eabi-g++ is not installed ('sh host/setup.sh --tests' installs it)")
  return()
endif()
message(STATUS "Chip firmware: built with ${STEADYRAIL_ARM_GXX}")

include(ExternalProject)
# No compiler cache here: it does not give back the call graphs (.ci) that the stack budget reads.
ExternalProject_Add(
  steadyrail_chip
  SOURCE_DIR ${CMAKE_CURRENT_LIST_DIR}
  BINARY_DIR ${PROJECT_BINARY_DIR}/chip
  CMAKE_ARGS -DCMAKE_TOOLCHAIN_FILE=${CMAKE_CURRENT_LIST_DIR}/toolchain.cmake -DCMAKE_BUILD_TYPE=Release
             -DNANOPB_DIR=${NANOPB_DIR} -DNANOPB_GENERATED=${CMAKE_CURRENT_BINARY_DIR}/generated
             -DPython3_EXECUTABLE=${STEADYRAIL_PYTHON}
  INSTALL_COMMAND ""
  BUILD_ALWAYS ON  # whether anything is old is the inner build's business
  DEPENDS steadyrail_nanopb)
