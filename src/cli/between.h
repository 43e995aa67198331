// Options that are measures.
#pragma once

#include <CLI/CLI.hpp>

#include <string>

namespace endgrade::cli {

// As CLI::Range, but "nan", which is neither below nor above anything, is refused too.
inline CLI::Validator Between(double least, double most) {
  return {[least, most](std::string& text) {
            double value = 0.0;
            if (CLI::detail::lexical_cast(text, value) && value >= least && value <= most) {
              return std::string();
            }
            return "Value " + text + " not in range " + CLI::detail::to_string(least) + " to " +
                   CLI::detail::to_string(most);
          },
          ""};
}

}  // namespace endgrade::cli
