"""Loads what commands load when they run, so that children forked from here start at once."""

import stock.commands.app
import stock.shop.certificates
import stock.shop.demo
import stock.shop.imports
import stock.shop.keeping
import stock.shop.loading
import stock.shop.preparing
import stock.shop.printing
import stock.shop.purchases
import stock.shop.receive
import stock.shop.setting_aside
import stock.shop.undoing
import stock.shop.upkeep
import stock.shop.weighing  # noqa: F401 - all of them are loaded for those who fork
